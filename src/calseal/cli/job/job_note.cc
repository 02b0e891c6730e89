#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/job/layout.h"
#include "calseal/job/note.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct NoteOptions {
  std::string folder, fact, detail, time;
  std::optional<std::uint64_t> base, revision;
};

Result<int> run(const NoteOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const FolderLock lock, FolderLock::take(options.folder, kJobFolder));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time, "--time"));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, {}));
  Note fact;
  fact.kind = *find_event(options.fact);
  fact.base = options.base;
  fact.revision = options.revision;
  fact.detail = options.detail;
  CALSEAL_ASSIGN(const Event event, note(job, fact, now));
  CALSEAL_ASSIGN(const Job after, read_job(options.folder, {}));
  CALSEAL_ASSIGN(const auto entered, do_ledger_duty(after, {}));
  const Page page = page_for(console);
  std::string text = "noted " + options.fact +
                     (event.revision ? ", revision " + std::to_string(*event.revision) + " of base " +
                                           std::to_string(event.base)
                                     : "") +
                     "\n";
  if (fact.kind == EventKind::kWithdrawn)
    text += labelled(
        page, "caution",
        "this note tells nobody: calseal withdraw makes the signed list that the customer's checker reads",
        Mark::kCaution);
  text += ledger_duty_text(entered, page);
  console.print(text + next_step_text(next_step(after), page));
  JsonValue value = json_object({{"calseal", json("job-note/1")},
                                 {"event", record_json(event, event_fields)},
                                 {"next", next_step_json(next_step(after))}});
  add_ledger_duty(value, entered);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_note_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand(
      "note", "Note what happened outside: sent, acknowledged, written, confirmed, withdrawn, remark");
  auto o = std::make_shared<NoteOptions>();
  command->add_option("FOLDER", o->folder, "The job folder")->required();
  command->add_option("FACT", o->fact, "sent, acknowledged, written, confirmed, withdrawn or remark")
      ->required()
      ->one_of({"sent", "acknowledged", "written", "confirmed", "withdrawn", "remark"});
  command->add_option("--revision", o->revision, "The revision that it is about; needed but for a remark");
  command->add_option("--base", o->base, "Its base (default: the current one)");
  command->add_option(
      "--detail", o->detail,
      "sent: the channel; confirmed: the grade (bytes, verification-number, identity); else words");
  command->add_option("--time", o->time, "When it happened, instead of now (UTC)");
  set_command(
      *command, console,
      {"calseal job note oak-17 sent --revision 0 --detail mail",
       "calseal job note oak-17 acknowledged --revision 0",
       "calseal job note oak-17 confirmed --revision 1 --detail bytes"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
