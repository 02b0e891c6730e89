#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/hand_over.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct HandoverOptions : JobFolderOptions, LedgerKeyOptions {
  std::optional<std::uint64_t> revision;
  std::string trust, passphrase_file, time;
};

// The newest revision of every controller that is not closed, or the one that is named.
Result<std::vector<WantedRevision>> revisions_of(const HandoverOptions& options, const JobAtHand& at_hand) {
  std::vector<WantedRevision> revisions;
  if (options.revision || !at_hand.controller.empty()) {
    CALSEAL_ASSIGN(const Job* const job, at_hand.one());
    const JobRevision* newest = job->base().newest();
    revisions.push_back(
        {job->facts.controller, options.revision.value_or(newest == nullptr ? 0 : newest->number())});
    return revisions;
  }
  for (const Job& one : at_hand.job.controllers) {
    const JobRevision* newest = one.base().newest();
    if (!one.closed() && newest != nullptr) revisions.push_back({one.facts.controller, newest->number()});
  }
  return revisions;
}

// Who signs the ledger's head.
struct HeadBy {
  LoadedTrust trust;
  UtcTime now;
  KeysOnDemand keys;
};
Result<HeadBy> load_head_by(const HandoverOptions& options) {
  HeadBy by{{}, {}, KeysOnDemand(options.key_files(), options.passphrase_file)};
  if (options.trust.empty() && !options.ledger_key.empty()) {
    return fail(usage_error("--ledger-key", "no --trust beside it",
                            "the trust file under which the head is signed", "give the shop's trust file"));
  }
  if (!options.trust.empty()) {
    CALSEAL_ASSIGN(by.trust, load_trust(options.trust));
  }
  CALSEAL_ASSIGN(by.now, stated_time(options.time));
  return by;
}

Result<int> run(const HandoverOptions& options, const Console& console) {
  CALSEAL_ASSIGN(HeadBy by, load_head_by(options));
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, {}));
  CALSEAL_CHECK(require_ledger(at_hand.job, options));
  CALSEAL_ASSIGN(const std::vector<WantedRevision> revisions, revisions_of(options, at_hand));
  CALSEAL_CHECK(by.keys.open());  // before anything is made
  HandedOver handed;
  CALSEAL_ASSIGN(handed.handover, hand_over_kept(at_hand.job, revisions, kept_message));
  const TrustFile* const trust = options.trust.empty() ? nullptr : &by.trust.trust;
  CALSEAL_ASSIGN(handed.job, at_hand.after({trust, nullptr}));
  LedgerDuty duty{&by.keys, trust, by.now, {}, handed.handover};
  for (const HandedBundle& bundle : handed.job.handed)
    duty.bundles.push_back(bundle.controller + "/" + bundle.kept_as);
  handed.ledger = do_ledger_duty(handed.job, duty);
  console.print(handed_over_text(handed, page_for(console)));
  JsonValue value = json_object({{"calseal", json("job-handover/1")}, {"job", json(handed.job.facts.job)}});
  add_handed_over(value, handed);
  console.print_json(value);
  return handed.ledger.status();
}

}  // namespace

void add_job_handover_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command =
      job.add_subcommand("handover", "Make a folder to hand over again: newest revisions, or one of them");
  auto o = std::make_shared<HandoverOptions>();
  add_job_folder(*command, *o);
  command->add_option("--revision", o->revision, "A revision of the current base (default: the newest)");
  command
      ->add_option("--trust", o->trust,
                   "The shop's trust file: where the job reports to a ledger, for what is entered there")
      ->takes("FILE");
  add_ledger_key_option(*command, *o);
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the key")
      ->takes("FILE");
  command->add_option("--claimed-time", o->time, "Time to state in the head instead of now (UTC)")
      ->takes("TIME");
  ShopDefault trust = kShopTrust;
  trust.wanted = head_key_of_job().wanted;
  add_shop_option(*command, {trust, head_key_of_job()}, look_from_job());
  set_command(
      *command, console,
      {"calseal job handover oak-17", "calseal job handover oak-17 --controller engine --revision 0"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
