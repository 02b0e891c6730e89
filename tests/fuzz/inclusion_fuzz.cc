// Any bytes as a proof of inclusion: what is read is written back; and no proof shows a revision under a head
// that was not pinned.
#include "calseal/trust/inclusion.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  InclusionProof sample;
  sample.entry = R"({"calseal":"ledger-entry/1"})";
  sample.salt = Bytes(32, 7);
  sample.head = {3, compute_sha256(view_of("head"))};
  sample.index = 1;
  sample.path = {compute_sha256(view_of("left")), compute_sha256(view_of("right"))};
  static const std::vector<std::string> samples = {write_inclusion(sample)};
  const std::string text = text_from_input(data, size, samples);
  const auto proof = parse_inclusion(view_of(text), "input");
  if (!proof) {
    must_explain(proof.error());
    return 0;
  }
  must(write_inclusion(*proof) == text, "what is read is written back");
  const Sha256 digest = compute_sha256(view_of("manifest"));
  must(!check_inclusion(*proof, digest, {}, "input"), "no head, no proof");
  must(!check_inclusion(*proof, digest, {{proof->head.size + 1, proof->head.root_hash}}, "input"),
       "another head, no proof");
  (void)check_inclusion(*proof, digest, {proof->head}, "input");
  return 0;
}
