// The signed list of a job's revisions.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/job_list.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// A revision that was sealed: its manifest, and the file that names it in errors.
struct SealedRevision {
  std::string name;
  Manifest manifest;
  Sha256 digest;
};

// A bundle that everybody believes under `trust`: the reasons of the checker's opening. A trial that is over
// still counts.
Result<SealedRevision> open_sealed_revision(Bytes bundle, const std::string& name, const TrustFile& trust);

// All of one job and controller, in any order; one that is given twice counts once. kUsage when there is none
// or they belong to different jobs or controllers.
Result<JobList> list_job(const std::vector<SealedRevision>& revisions, const KeyId& root,
                         const std::string& claimed_time);

// The text of a list, signed and read back through parse_job_list() before it is returned: two revisions with
// one sequence number come back as kJobListInvalid.
Result<std::string> seal_job_list(const JobList& list, const SigningKeys& keys, const TrustFile& trust);

}  // namespace calseal
