#include <algorithm>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/hand_over.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/send_request.h"
#include "calseal/job/customer_order.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

// Way backs that were left out when the folder was made.
Result<int> send_way_backs(const SendOptions& options, const JobAtHand& at_hand, const JobContext& context,
                           const LoadedSigning& loaded, const Console& console) {
  std::vector<WantedRevision> revisions;
  for (const Job& one : at_hand.job.controllers) {
    const bool meant = at_hand.controller.empty() || at_hand.controller == one.facts.controller;
    if (!meant || one.base().way_back() != nullptr) continue;
    CALSEAL_CHECK(seal_way_back(one, loaded.signing, options.as_received));
    revisions.push_back({one.facts.controller, 0});
  }
  CALSEAL_ASSIGN(const HandedOver handed, hand_over(at_hand, context, revisions, ledger_duty(loaded)));
  const Page page = page_for(console);
  console.print("sealed what goes back\n" + handed_over_text(handed, page));
  JsonValue value = json_object({{"calseal", json("job-send/1")}, {"job", json(handed.job.facts.job)}});
  value.members.emplace_back("revisions", json_array(handed.job.handed, [&](const HandedBundle& bundle) {
                               return json_object({{"controller", json(bundle.controller)},
                                                   {"base", json(bundle.sealed.base)},
                                                   {"revision", json(bundle.sealed.revision.value_or(0))},
                                                   {"sequence", json(bundle.sealed.sequence.value_or(0))},
                                                   {"identity", json_digest(bundle.sealed.identity)},
                                                   {"bundle", json(bundle.kept_as)}});
                             }));
  add_handed_over(value, handed);
  console.print_json(value);
  return handed.ledger.status();
}

bool lacks_way_back(const JobAtHand& at_hand) {
  return std::ranges::any_of(at_hand.job.controllers, [&](const Job& one) {
    return one.base().way_back() == nullptr &&
           (at_hand.controller.empty() || at_hand.controller == one.facts.controller);
  });
}

Result<int> run(const SendOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_signing(options, options, tool));
  const JobContext context{loaded->signing.trust, nullptr};
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, context));
  CALSEAL_CHECK(require_ledger(at_hand.job, options));
  if (options.edited.empty() && options.option_files.empty() && lacks_way_back(at_hand))
    return send_way_backs(options, at_hand, context, *loaded, console);
  CALSEAL_ASSIGN(SendPlan plan, plan_send(options, at_hand, loaded->signing));
  if (plan.requests.empty()) {
    return fail(usage_error("EDITED", "no edited file, and no option",
                            "an edited image, or options to put in",
                            "give them; calseal job next says what this job waits for"));
  }
  const SendMessage message = [&](const SentTogether& sent) { return sent_message(at_hand.job, sent); };
  CALSEAL_ASSIGN(const SentTogether sent,
                 send(at_hand.job, std::move(plan.requests), plan.set, loaded->signing, message));
  HandedOver handed;
  CALSEAL_ASSIGN(handed.job, at_hand.after(context));
  handed.handover = sent.handover;
  LedgerDuty duty = ledger_duty(*loaded);
  duty.handover = sent.handover;
  for (const Sent& part : sent.parts) duty.bundles.push_back(part.controller + "/" + part.bundle);
  handed.ledger = do_ledger_duty(handed.job, duty);
  const Page page = page_for(console);
  console.print(sent_text(handed.job, sent, page) + handed_over_text(handed, page));
  JsonValue value = sent_json(handed.job, sent);
  add_handed_over(value, handed);
  console.print_json(value);
  return handed.ledger.status();
}

// A folder that cannot be read is said by the command itself.
bool has_order(const std::string& folder) {
  const auto place = find_job(folder);
  const auto job = place ? read_vehicle_job(place->folder, {}) : Result<VehicleJob>(fail(place.error()));
  return job && !order_of(*job).options.empty();
}

ShopDefault options_of_shop() {
  ShopDefault options = kShopOptions;
  options.wanted = has_order;
  return options;
}

}  // namespace

void add_job_send_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand(
      "send", "The daily loop: edited images and options in, sealed revisions to hand over out");
  auto o = std::make_shared<SendOptions>();
  add_send_options(*command, *o);
  add_ledger_key_option(*command, *o);
  add_job_signing_options(*command, *o, true, {head_key_of_job(), options_of_shop()});
  set_command(
      *command, console,
      {"calseal job send oak-17 edited.bin --title \"first tune\" --key author.key --trust shop.trust",
       "calseal job send oak-17 engine.bin transmission.bin --write-order transmission,engine --key "
       "author.key "
       "--trust shop.trust",
       "calseal job send oak-17 --option e85.json --option launch.json --key author.key --trust shop.trust",
       "calseal job send oak-17 edited2.bin --set renew --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
