// The ledger that a job folder reports to, where it has one.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/job/job.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/head.h"

namespace calseal {

inline constexpr std::string_view kLedgerLinkFile = "ledger.json";  // {"calseal":"job-ledger/1","ledger"}

// From now on what happens in this folder is entered there; kept as a path from the folder. kFileMissing and
// so on when it is no ledger. The caller holds the folder's lock.
Status link_ledger(const std::string& folder, const std::string& ledger);

// The path of the ledger's folder; nothing when the job reports to none. kJobDamaged.
Result<std::optional<std::string>> linked_ledger(const std::string& folder);

// What the job's folder says that a ledger should hold: that its verified revisions were sealed, in the order
// of bases and sequence; then its events about revisions that are there, and about parcels.
std::vector<NewEntry> ledger_entries_of(const Job& job);

struct EnteredJob {
  std::string ledger;
  std::uint64_t added = 0;
  std::uint64_t was_there = 0;
  TreeHead head;
  std::string head_file;  // beside the first bundle, within the job's folder; empty: none was put there
  bool head_is_new = false;
};

// Enters whatever the ledger does not hold yet; so it is also the repair of a run that was cut off between
// sealing and entering. Nothing when the job reports to no ledger.
Result<std::optional<EnteredJob>> enter_job(const Job& job);

// Who signs heads; nothing: the newest one that the ledger keeps is handed out.
struct HeadSigning {
  const SigningKeys* keys = nullptr;
  const TrustFile* trust = nullptr;
  UtcTime now;
};

// The head that goes along with a bundle: a new one when there is a key, else the newest that the ledger
// keeps; empty when it keeps none. Notes in `entered` which it is.
Result<std::string> head_to_place(const HeadSigning& signing, EnteredJob& entered);
// "base-1/r2.calseal" has its head in "base-1/r2.head".
std::string head_beside(const std::string& bundle);

}  // namespace calseal
