// Any bytes as a list of a job's revisions, and any text as one that an author has signed.
#include "calseal/trust/job_list.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

std::vector<std::string> make_samples(const calseal::TrustFile& trust) {
  using namespace calseal;
  JobList list;
  list.root = compute_key_id(trust.root);
  list.job = "job-7";
  list.controller = "engine";
  list.claimed_time = "2026-03-04T05:06:07Z";
  list.revisions = {{compute_sha256(view_of("r0")), 1, 0, 1},
                    {compute_sha256(view_of("r1")), 1, 1, 2},
                    {compute_sha256(view_of("next base")), 2, 0, 9}};
  return {write_job_list_text(list)};
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const TrustFile trust = sample_trust();
  static const std::vector<std::string> samples = make_samples(trust);
  const auto parse = [](ByteView file) { return parse_job_list(file, trust, "input"); };
  static const bool sound = accepts_samples(samples, parse, {2});
  must(sound, "the samples are accepted");
  check_statement(text_from_input(data, size, samples), parse, write_job_list_text, {2});
  return 0;
}
