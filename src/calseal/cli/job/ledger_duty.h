// What every command of the job folder owes to the job's ledger, after its own work is kept.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/job/ledger_link.h"
#include "calseal/job/new_job.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/report/layout/page.h"

namespace calseal {

struct LedgerKeyOptions {
  std::string ledger_key;  // private key with the role ledger; empty: no new head is signed
  std::vector<std::string> key_files() const {
    return ledger_key.empty() ? std::vector<std::string>() : std::vector{ledger_key};
  }
};
void add_ledger_key_option(CommandLine& command, LedgerKeyOptions& options);
// The shop file's key stands in for it, where the job in the command's folder reports to a ledger.
ShopDefault head_key_of_job();

struct LedgerDuty {
  KeysOnDemand* keys = nullptr;  // nothing, or none in it: no new head is signed
  const TrustFile* trust = nullptr;
  UtcTime now;
  std::vector<std::string> bundles;  // within the job's folder; a head is put beside each
  std::string handover;              // folder that gets the head too; empty: none
};

// What came of it. A ledger that could not be written takes nothing back: the job is whole, and the next
// command enters what is missing.
struct LedgerOutcome {
  std::optional<EnteredJob> entered;  // nothing: the job reports to no ledger, or could not be entered
  std::optional<Error> failed;        // beside `entered`: only the head could not be signed or put in place

  int status() const;  // exit status of a command whose own work is done
};
// kUsage when a ledger key was given and the job reports to no ledger; asked before anything is sealed.
Status require_ledger(const VehicleJob& job, const LedgerKeyOptions& options);
LedgerOutcome do_ledger_duty(const VehicleJob& job, const LedgerDuty& duty);
// The same for way backs that were just sealed; with `ledger`, the controllers report to it from now on.
LedgerOutcome do_ledger_duty(const VehicleJob& job, const MadeJob& made, LedgerDuty duty,
                             const std::string& ledger = {});

// Empty, and no member, when there is no ledger.
std::string ledger_text(const LedgerOutcome& outcome, const Page& page);
void add_ledger(JsonValue& value, const LedgerOutcome& outcome);

}  // namespace calseal
