// Any bytes as a list of withdrawals, and any text as one that the key for withdrawals has signed.
#include "calseal/trust/withdrawal.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

calseal::TrustFile trust_with_withdrawal_key() {
  using namespace calseal;
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(5), "Withdrawals", {Role::kWithdrawal}));
  std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  return trust;
}

std::vector<std::string> make_samples(const calseal::TrustFile& trust) {
  using namespace calseal;
  WithdrawalList list;
  list.root = compute_key_id(trust.root);
  list.number = 3;
  list.claimed_time = "2026-03-04T05:06:07Z";
  list.fresh_until = "2026-06-01T00:00:00Z";
  const std::string empty = write_withdrawal_text(list);
  WithdrawalNotice notice;
  notice.job = "job-7";
  notice.controller = "engine";
  for (const std::string_view seed : {"one", "two", "three"}) {
    notice.revision = compute_sha256(view_of(seed));
    notice.kind = seed == "one" ? WithdrawalClass::kSafety : WithdrawalClass::kReplaced;
    notice.go_back = seed != "two";
    notice.go_to.reset();
    if (seed == "three") notice.go_to = compute_sha256(view_of("two"));
    notice.text = "pressure sensor misread";
    list.notices.push_back(notice);
  }
  std::ranges::sort(list.notices, {}, &WithdrawalNotice::revision);
  return {empty, write_withdrawal_text(list)};
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const TrustFile trust = trust_with_withdrawal_key();
  static const std::vector<std::string> samples = make_samples(trust);
  const auto parse = [](ByteView file) { return parse_withdrawals(file, trust, "input"); };
  static const bool sound = accepts_samples(samples, parse, {5});
  must(sound, "the samples are accepted");
  check_statement(text_from_input(data, size, samples), parse, write_withdrawal_text, {5});
  return 0;
}
