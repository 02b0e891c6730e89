// The daily loop: an edited image becomes the job's next revision. Compared, corrected, accounted for,
// sealed, checked as the customer would, kept and noted; or refused by whatever part refuses, with nothing
// kept.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/job/job.h"
#include "calseal/job/job_options.h"
#include "calseal/job/open_base.h"
#include "calseal/map/correct.h"
#include "calseal/option/account.h"
#include "calseal/option/option_file.h"

namespace calseal {

struct SendRequest {
  std::vector<ReadFile> edited;
  std::vector<OptionFile> options;      // that this revision is made of
  std::optional<std::uint64_t> parent;  // revision number; nothing: the newest
  std::string title, notes, expires;
  std::vector<std::string> requirements, cautions;
  std::string unaccounted_reason;  // why bytes without an option are right; goes into the manifest
  std::string limits_reason;       // why values outside their limits are right; likewise
};

struct Sent {
  std::string bundle;  // within the folder
  SealedBundle sealed;
  RegionMap map;
  Image base, result;
  CorrectionReport corrections;
  std::optional<Account> account;  // where options were given
};

// kJobOrder unless the way back of the current base is sealed, sent and acknowledged; kUsage for a parent
// that is not there; the reasons of lay_edit(), correct(), make_account(), seal() and check_as_customer();
// kChangeUnaccounted when options were given, bytes belong to none and no reason is stated. Options are kept
// in the base's folder. The caller holds the lock.
Result<Sent> send(const Job& job, SendRequest request, const Signing& signing);

// Revision 0 of the current base, opened under the trust file, with its region map; shared with reissue and
// carry. kJobOrder when none is sealed.
Result<OpenedBundle> open_way_back(const Job& job, const Signing& signing);
Result<OpenedBundle> open_kept(const Job& job, const JobRevision& revision, const Signing& signing);
// The salt of the folder, which must be the one that revision 0 names (kSaltWrong).
Result<std::optional<Bytes>> load_salt_of(const Job& job, const OpenedBundle& way_back);
// The read as received; where it is gone or was changed, what revision 0 holds of it. kJobDamaged when that
// is not enough.
Result<std::vector<ReadFile>> read_of_base(const Job& job, const OpenedBundle& way_back);

// kJobOrder unless the customer has acknowledged revision 0 of the current base.
Status require_way_back(const Job& job);

}  // namespace calseal
