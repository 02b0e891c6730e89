// Any bytes as a trust file, and any text as one that its root has signed.
#include "calseal/trust/trust_file.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

std::vector<std::string> make_samples() {
  using namespace calseal;
  TrustFile plain = sample_trust();
  TrustFile full = plain;
  full.next_root = TestKey(8).id();
  full.threshold = 2;
  TrustedKey& author = key_of(full, 2);
  author.roles = {Role::kAuthor, Role::kLedger};
  author.jobs = {"job-7", "oak-17"};
  author.controllers = {"engine"};
  author.region_maps = {compute_sha256(view_of("map"))};
  author.valid_until = "2027-01-01T00:00:00Z";
  key_of(full, 3).compromised = true;
  return {write_trust_text(plain), write_trust_text(full)};
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const std::vector<std::string> samples = make_samples();
  const auto parse = [](ByteView file) { return parse_trust_file(file, "", "input"); };
  static const bool sound = accepts_samples(samples, parse, {1});
  must(sound, "the samples are accepted");
  check_statement(text_from_input(data, size, samples), parse, write_trust_text, {1});
  return 0;
}
