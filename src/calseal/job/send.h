// The daily loop: edited images become the next revisions of their controllers. Composed, corrected,
// accounted for, sealed, as a set where they belong together, checked as the customer would, kept and noted;
// or refused by whatever part refuses, with nothing kept.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/job/job.h"
#include "calseal/job/job_options.h"
#include "calseal/job/open_base.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/map/correct.h"
#include "calseal/option/account.h"
#include "calseal/option/compose.h"
#include "calseal/option/option_file.h"

namespace calseal {

struct SendRequest {
  std::string controller;
  std::vector<ReadFile> edited;         // nothing: the base, or with `again` the newest revision's image
  std::vector<OptionFile> options;      // that this revision is made of
  ManifestOrdered ordered;              // what it says of the order; see keep_order()
  std::vector<OptionFile> not_in_it;    // options that the image must not hold unseen
  StatedConditions stated;              // of the vehicle, for the options
  std::optional<std::uint64_t> parent;  // revision number; nothing: the newest
  std::string title, notes, expires;
  std::vector<std::string> requirements, cautions;
  std::vector<std::string> required_roles = {"author"};
  std::vector<Attachment> attachments;
  std::vector<Sha256> permitted_returns;
  std::string unaccounted_reason;  // why bytes without an option are right; goes into the manifest
  std::string limits_reason;       // why values outside their limits are right; likewise
  bool unchanged = false;          // the image may be that of the base or of the parent
  bool again = false;              // the newest revision's image once more, for a set that is renewed
};

struct Sent {
  std::string controller;
  std::string bundle;  // within the controller's folder
  SealedBundle sealed;
  RegionMap map;
  Image base, before, result;  // before: of the revision that this one follows
  std::uint64_t parent = 0;    // its number
  CorrectionReport corrections;
  std::optional<Account> account;     // where options were given
  std::vector<std::string> composed;  // options that were put in; the others were in the edit
  bool way_back_acknowledged = false;
  bool needs_fresh_read = false;  // the customer's check accepts only a read that was taken just now
};

// How the parts of one send belong together.
struct SetWish {
  std::vector<std::string> write_order;  // controllers; empty: as the parts are given
  bool drivable_between = false;
};

struct SentTogether {
  std::vector<Sent> parts;
  std::optional<SetDescriptor> set;
  std::string handover;  // folder within the job's
};
// The text that goes to the customer along with it.
using SendMessage = std::function<std::string(const SentTogether& sent)>;

// Seals one revision of each controller that is asked for; with `wish`, from two on, as a set. Nothing is
// kept unless all of them are sealed and checked. kUsage for a parent that is not there; kJobOrder when the
// way back is not sealed, nothing changed, or a time runs backwards; the reasons of lay_edit(), compose(),
// correct(), make_account(), make_set(), seal() and check_as_customer(); kChangeUnaccounted when options were
// given, bytes belong to none and no reason is stated; kOrderOpen when the image holds an option that it does
// not name. The caller holds the lock.
Result<SentTogether> send(const VehicleJob& job, std::vector<SendRequest> requests,
                          const std::optional<SetWish>& wish, const Signing& signing,
                          const SendMessage& message);

// Revision 0 of the current base, opened under the trust file, with its region map; shared with reissue and
// carry. kJobOrder when none is sealed.
Result<OpenedBundle> open_way_back(const Job& job, const Signing& signing);
Result<OpenedBundle> open_kept(const Job& job, const JobRevision& revision, const Signing& signing);
// A bundle that read_job() has judged, once more; a trial that has ended opens too. kJobDamaged when it is
// another one by now.
Result<OpenedBundle> reopen(const Job& job, const JobRevision& revision);
// The salt of the folder, which must be the one that revision 0 names (kSaltWrong).
Result<std::optional<Bytes>> load_salt_of(const Job& job, const OpenedBundle& way_back);
// The read as received; where it is gone or was changed, what revision 0 holds of it. kJobDamaged when that
// is not enough.
Result<std::vector<ReadFile>> read_of_base(const Job& job, const OpenedBundle& way_back);

// Whether the customer has acknowledged revision 0 of the current base.
bool way_back_acknowledged(const Job& job);

}  // namespace calseal
