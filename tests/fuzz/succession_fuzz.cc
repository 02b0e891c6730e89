// Any bytes as a succession, and any text as one that both roots have signed; the old trust file inside is a
// true one in the samples.
#include "calseal/trust/succession.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

std::vector<std::string> make_samples() {
  using namespace calseal;
  Succession succession;
  succession.old_trust = sample_trust();
  succession.old_trust.next_root = TestKey(8).id();
  succession.old_trust_text = signed_by(write_trust_text(succession.old_trust), {1});
  succession.new_root = TestKey(8).public_key();
  succession.claimed_time = "2026-03-04T05:06:07Z";
  succession.reason = "the old root is retired";
  return {write_succession_text(succession)};
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const std::vector<std::string> samples = make_samples();
  const auto parse = [](ByteView file) { return parse_succession(file, "input"); };
  static const bool sound = accepts_samples(samples, parse, {1, 8});
  must(sound, "the samples are accepted");
  check_statement(text_from_input(data, size, samples), parse, write_succession_text, {1, 8});
  return 0;
}
