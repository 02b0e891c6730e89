#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/job/layout.h"
#include "calseal/job/note.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct NoteOptions : JobFolderOptions {
  std::string fact, detail, time;
  std::vector<std::string> order;
  bool order_nothing = false;
  std::optional<std::uint64_t> base, revision;
};

std::string noted_text(const std::vector<Noted>& noted) {
  std::string text;
  for (const Noted& one : noted) {
    text += "noted " + std::string(event_name(one.event.kind)) + ", " + one.controller;
    if (one.event.revision)
      text +=
          ", revision " + std::to_string(*one.event.revision) + " of base " + std::to_string(one.event.base);
    text += "\n";
  }
  return text;
}

JsonValue noted_json(const std::vector<Noted>& noted) {
  return json_array(noted, [](const Noted& one) {
    return json_object(
        {{"controller", json(one.controller)}, {"event", record_json(one.event, event_fields)}});
  });
}

// An order says what is wanted, or that nothing is: leaving it out by mistake must not take it back.
Status judge_order(const NoteOptions& options) {
  const bool ordered = options.fact == event_name(EventKind::kOrdered);
  const bool says = !options.order.empty() || options.order_nothing;
  if (ordered != says) {
    return fail(usage_error("--order", ordered ? "no option" : "an order beside " + options.fact,
                            ordered ? "--order NAME, or --order-nothing" : "the fact ordered",
                            ordered ? "name what he wants" : "leave it out"));
  }
  if (options.order.empty() || !options.order_nothing) return {};
  return fail(usage_error("--order-nothing", "--order beside it", "one of the two", "leave one out"));
}

Result<int> run(const NoteOptions& options, const Console& console) {
  CALSEAL_CHECK(judge_order(options));
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, {}));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time, "--time"));
  Note fact;
  fact.kind = *find_event(options.fact);
  fact.controller = at_hand.controller;
  fact.base = options.base;
  fact.revision = options.revision;
  fact.detail = options.detail;
  fact.options = options.order;
  CALSEAL_ASSIGN(const std::vector<Noted> noted, note(at_hand.job, fact, now));
  CALSEAL_ASSIGN(const VehicleJob after, at_hand.after({}));
  const LedgerOutcome ledger = do_ledger_duty(after, {});
  const Page page = page_for(console);
  std::string text = noted_text(noted);
  if (fact.kind == EventKind::kWithdrawn)
    text += labelled(
        page, "caution",
        "this note informs nobody: calseal withdraw makes the signed list that the customer's checker "
        "reads",
        Mark::kCaution);
  console.print(text + ledger_text(ledger, page) + next_steps_text(after, page));
  JsonValue value = json_object(
      {{"calseal", json("job-note/1")}, {"noted", noted_json(noted)}, {"next", next_steps_json(after)}});
  add_ledger(value, ledger);
  console.print_json(value);
  return ledger.status();
}

}  // namespace

void add_job_note_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand(
      "note", "Note what happened outside: sent, acknowledged, written, confirmed, withdrawn ...");
  auto o = std::make_shared<NoteOptions>();
  add_job_folder(*command, *o);
  command->add_option("FACT", o->fact, "What happened")
      ->required()
      ->one_of({"sent", "acknowledged", "written", "confirmed", "withdrawn", "ordered", "remark", "closed",
                "reopened"});
  command->add_option("--revision", o->revision,
                      "The revision that it is about (default: those of the newest hand-over)");
  command->add_option("--base", o->base, "Its base (default: the current one)");
  command->add_option(
      "--detail", o->detail,
      "sent: the channel; confirmed: the grade (bytes, verification-number, identity); else words");
  command
      ->add_option("--order", o->order,
                   "ordered: the name of an option that the customer wants (repeatable); all of them")
      ->takes("NAME");
  command->add_flag("--order-nothing", o->order_nothing, "ordered: he took his order back");
  command->add_option("--time", o->time, "When it happened, instead of now (UTC)")->takes("TIME");
  set_command(
      *command, console,
      {"calseal job note oak-17 sent --detail mail", "calseal job note oak-17 acknowledged",
       "calseal job note oak-17 confirmed --controller engine --revision 1 --detail bytes",
       "calseal job note oak-17 ordered --order towing --order winter",
       "calseal job note oak-17 closed --detail \"delivered, paid\""},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
