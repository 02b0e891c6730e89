#include "calseal/cli/job/hand_over.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/job/job_report.h"

namespace calseal {

Result<HandedOver> hand_over(const JobAtHand& at_hand, const JobContext& context,
                             const std::vector<WantedRevision>& revisions, LedgerDuty duty) {
  HandedOver handed;
  CALSEAL_ASSIGN(handed.job, at_hand.after(context));
  Result<std::string> folder = hand_over_kept(handed.job, revisions, kept_message);
  if (!folder) {
    Error error = std::move(folder).error();
    error.next = "what was sealed is kept in the job; once that is mended: calseal job handover " +
                 printable(handed.job.folder);
    return fail(std::move(error));
  }
  handed.handover = *std::move(folder);
  CALSEAL_ASSIGN(handed.job, at_hand.after(context));
  duty.handover = handed.handover;
  for (const HandedBundle& bundle : handed.job.handed)
    duty.bundles.push_back(bundle.controller + "/" + bundle.kept_as);
  handed.ledger = do_ledger_duty(handed.job, duty);
  return handed;
}

std::string handed_over_text(const HandedOver& handed, const Page& page) {
  return ledger_text(handed.ledger, page) + handover_text(handed.job, handed.handover, page) + "\n" +
         next_steps_text(handed.job, page);
}

void add_handed_over(JsonValue& value, const HandedOver& handed) {
  value.members.emplace_back("handover", json(handed.handover));
  value.members.emplace_back("hand_over", handover_json(handed.job, handed.handover));
  value.members.emplace_back("next", next_steps_json(handed.job));
  add_ledger(value, handed.ledger);
}

}  // namespace calseal
