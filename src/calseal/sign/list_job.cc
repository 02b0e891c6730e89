#include "calseal/sign/list_job.h"

#include <algorithm>

#include "calseal/check/open.h"

namespace calseal {

Result<SealedRevision> open_sealed_revision(Bytes bundle, const std::string& name, const TrustFile& trust) {
  OpenContext context;  // order in time and the clock are not asked
  context.trust = &trust;
  std::vector<Step> steps = all_steps();
  CALSEAL_ASSIGN(OpenedBundle opened, open_sealed(std::move(bundle), name, context, steps));
  return SealedRevision{name, std::move(opened.manifest), opened.digest};
}

Result<JobList> list_job(const std::vector<SealedRevision>& revisions, const KeyId& root,
                         const std::string& claimed_time) {
  if (revisions.empty()) {
    return fail({Reason::kUsage, "", "revisions", "no revision", "at least one bundle",
                 "give all bundles of the job"});
  }
  JobList list;
  list.root = root;
  list.job = revisions.front().manifest.job;
  list.controller = revisions.front().manifest.controller().name;
  list.claimed_time = claimed_time;
  for (const SealedRevision& one : revisions) {
    const std::string& controller = one.manifest.controller().name;
    if (one.manifest.job != list.job || controller != list.controller) {
      return fail({Reason::kUsage, one.name, "", "job " + one.manifest.job + ", " + controller,
                   "job " + list.job + ", " + list.controller + ", as in the first bundle",
                   "make one list for each controller of each job"});
    }
    if (list.find(one.digest) != nullptr) continue;
    list.revisions.push_back(
        {one.digest, one.manifest.base_number, one.manifest.revision, one.manifest.sequence});
  }
  std::ranges::sort(list.revisions, {}, &ListedRevision::sequence);
  return list;
}

Result<std::string> seal_job_list(const JobList& list, const SigningKeys& keys, const TrustFile& trust) {
  CALSEAL_ASSIGN(std::string file, sign_statement(write_job_list_text(list), keys));
  CALSEAL_CHECK(parse_job_list(view_of(file), trust, ""));
  return file;
}

}  // namespace calseal
