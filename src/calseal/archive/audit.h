// An audit's run: every file of an archive looked at, on all cores, in bounded memory, whatever is wrong with
// any of them.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "calseal/archive/record.h"
#include "calseal/archive/survey.h"
#include "calseal/base/result.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

struct AuditProgress {
  std::uint64_t files_done = 0, files = 0;
  std::uint64_t bytes_done = 0, bytes = 0;
};

struct AuditRequest {
  const Survey* survey = nullptr;
  Depth depth = Depth::kStored;
  std::vector<const TrustFile*> trust;  // the newest first, then those of roots before it
  Sha256 trust_digest;                  // of the newest one's file
  Part part;
  unsigned threads = 0;                  // 0: one for each processor
  const AuditRecord* earlier = nullptr;  // of an audit before this one: for files that only grow
  // A file that takes down what was seen as the run goes; empty: none. It is left behind by a run that was
  // cut off, and removed by the caller once the record is written.
  std::string journal;
  bool resume = false;  // take over what `journal` says of files that have not changed since
  std::function<void(const AuditProgress&)> progress;  // about five times a second
  std::function<bool()> stop;                          // asked as often; true: end with what is there
};

// The facts of every file of this part, the same whatever the number of threads. A file that was not come to
// when the run was stopped is not in the record, which is not `whole` then. Memory: that of the facts, and of
// two files' work for each thread. kWriteFailed for the journal; kAuditRecordOther for a journal of another
// audit.
Result<AuditRecord> run_audit(const AuditRequest& request);

}  // namespace calseal
