// A revision that a command has sealed for one controller goes into a hand-over, and the ledger hears of it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/ledger_duty.h"

namespace calseal {

struct HandedOver {
  VehicleJob job;        // after all
  std::string handover;  // folder within the job's
  LedgerOutcome ledger;
};
// The newest bundles of these revisions. `duty` comes without bundles.
Result<HandedOver> hand_over(const JobAtHand& at_hand, const JobContext& context,
                             const std::vector<WantedRevision>& revisions, LedgerDuty duty);

// Ledger, what goes to the customer, and the next steps.
std::string handed_over_text(const HandedOver& handed, const Page& page);
void add_handed_over(JsonValue& value, const HandedOver& handed);

}  // namespace calseal
