// Any bytes as a head of the ledger, and any text as one that a ledger key has signed.
#include "calseal/trust/tree_head.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

calseal::TrustFile trust_with_ledger() {
  calseal::TrustFile trust = calseal::sample_trust();
  calseal::key_of(trust, 3).roles = {calseal::Role::kLedger};
  return trust;
}

std::vector<std::string> make_samples(const calseal::TrustFile& trust) {
  using namespace calseal;
  SignedHead head;
  head.root = compute_key_id(trust.root);
  head.ledger = compute_sha256(view_of("ledger"));
  head.claimed_time = "2026-03-04T05:06:07Z";
  head.tree = {412, compute_sha256(view_of("entries"))};
  return {write_tree_head_text(head)};
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const TrustFile trust = trust_with_ledger();
  static const std::vector<std::string> samples = make_samples(trust);
  const auto parse = [](ByteView file) { return parse_tree_head(file, trust, "input"); };
  static const bool sound = accepts_samples(samples, parse, {3});
  must(sound, "the samples are accepted");
  check_statement(text_from_input(data, size, samples), parse, write_tree_head_text, {3});
  return 0;
}
