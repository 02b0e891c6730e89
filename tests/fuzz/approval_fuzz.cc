// Any bytes as an approval, and any text as one that a map author has signed.
#include "calseal/trust/approval.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

calseal::TrustFile trust_with_map_author() {
  using namespace calseal;
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(5), "Cartographer", {Role::kMapAuthor}));
  std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  return trust;
}

std::vector<std::string> make_samples() {
  using namespace calseal;
  Approval approval{
      "engine", compute_sha256(view_of("one")), compute_sha256(view_of("two")), "2026-03-04T05:06:07Z", "",
      {}};
  const std::string empty = write_approval_text(approval);
  approval.text = "the gear table is ours now";
  return {empty, write_approval_text(approval)};
}

// What approves nothing is told apart from what is damaged, and never leads anywhere.
void check_as_one_of_a_manifest(const std::string& text, const calseal::TrustFile& trust) {
  using namespace calseal;
  const Approvals judged = judge_approvals({text, signed_by(text, {4})}, "engine", trust);
  must(judged.counting.empty(), "what nobody signed counts for nothing");
  must(judged.others.size() == 2, "and each is told why");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const TrustFile trust = trust_with_map_author();
  static const std::vector<std::string> samples = make_samples();
  const auto parse = [](ByteView file) { return parse_approval(file, trust, "input"); };
  static const bool sound = accepts_samples(samples, parse, {5});
  must(sound, "the samples are accepted");
  const std::string text = text_from_input(data, size, samples);
  check_statement(text, parse, write_approval_text, {5});
  check_as_one_of_a_manifest(text, trust);
  return 0;
}
