#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/job/job_options.h"
#include "calseal/job/layout.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct SendOptions : JobSigningOptions, LedgerKeyOptions {
  std::string folder, title, notes_file, expires, unaccounted, limits;
  std::vector<std::string> edited, option_files, requirements, cautions;
  std::uint64_t parent = 0;
  bool has_parent = false, no_options = false, as_received = false;
};

LedgerDuty duty_of(const SendOptions& options, const Signing& signing, const std::string& bundle) {
  return {options.ledger_key, options.passphrase_file, signing.trust, signing.now, bundle};
}

// Revision 0 of the current base, where it was left out when the folder was made.
Result<int> send_way_back(const SendOptions& options, const Job& job, const Signing& signing,
                          const Console& console) {
  CALSEAL_ASSIGN(const OpenedBase made, seal_way_back(job, signing, options.as_received));
  CALSEAL_ASSIGN(const Job after, read_job(options.folder, {signing.trust, nullptr}));
  CALSEAL_ASSIGN(const auto entered, do_ledger_duty(after, duty_of(options, signing, made.bundle)));
  const Page page = page_for(console);
  console.print("sealed the way back\n" + labelled(page, "bundle", printable(made.bundle)) +
                labelled(page, "identity", digest_text(made.sealed->digest)) +
                ledger_duty_text(entered, page) + handover_text(after, made.bundle, page) + "\n" +
                next_step_text(next_step(after), page));
  JsonValue value = json_object({{"calseal", json("job-send/1")},
                                 {"job", json(job.facts.job)},
                                 {"base", json(job.base().number)},
                                 {"revision", json(0)},
                                 {"sequence", json(made.sealed->manifest.sequence)},
                                 {"identity", json_digest(made.sealed->digest)},
                                 {"bundle", json(made.bundle)},
                                 {"incomplete", json(made.sealed->incomplete)},
                                 {"hand_over", handover_json(after, made.bundle)}});
  add_ledger_duty(value, entered);
  console.print_json(value);
  return 0;
}

Result<SendRequest> load_request(const SendOptions& options, const Job& job) {
  SendRequest request;
  CALSEAL_ASSIGN(request.edited, load_read_files(options.edited));
  if (options.no_options && !options.option_files.empty())
    return fail(usage_error("--no-options", "--option beside it", "one of the two", "leave one out"));
  if (!options.option_files.empty()) {
    CALSEAL_ASSIGN(request.options, load_options(options.option_files));
  } else if (!options.no_options) {
    CALSEAL_ASSIGN(request.options, options_in_force(job, job.base()));
  }
  if (options.has_parent) request.parent = options.parent;
  request.title = options.title;
  request.expires = options.expires;
  request.requirements = options.requirements;
  request.cautions = options.cautions;
  request.unaccounted_reason = options.unaccounted;
  request.limits_reason = options.limits;
  if (!options.notes_file.empty()) {
    CALSEAL_ASSIGN(request.notes, read_text_file(options.notes_file, 65536));
  }
  return request;
}

Result<int> run(const SendOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const FolderLock lock, FolderLock::take(options.folder, kJobFolder));
  CALSEAL_ASSIGN(const auto loaded, load_signing(options, tool));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, {loaded->signing.trust, nullptr}));
  if (options.edited.empty()) return send_way_back(options, job, loaded->signing, console);
  CALSEAL_CHECK(require_way_back(job));
  CALSEAL_ASSIGN(SendRequest request, load_request(options, job));
  CALSEAL_ASSIGN(const Sent sent, send(job, std::move(request), loaded->signing));
  CALSEAL_ASSIGN(const Job after, read_job(options.folder, {loaded->signing.trust, nullptr}));
  CALSEAL_ASSIGN(const auto entered, do_ledger_duty(after, duty_of(options, loaded->signing, sent.bundle)));
  const Page page = page_for(console);
  console.print(sent_text(after, sent, page) + ledger_duty_text(entered, page) +
                handover_text(after, sent.bundle, page) + "\n" + next_step_text(next_step(after), page));
  JsonValue value = sent_json(after, sent);
  add_ledger_duty(value, entered);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_send_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand(
      "send", "The daily loop: compare, correct, account, seal, check, and keep an edited image");
  auto o = std::make_shared<SendOptions>();
  command->add_option("FOLDER", o->folder, "The job folder")->required();
  command->add_option("EDITED", o->edited,
                      "[MEMORY=]FILE: the edited image; none: seal the way back, where that was left out");
  command->add_option(
      "--option", o->option_files,
      "Option file that this revision is made of (repeatable; default: those of the newest revision)");
  command->add_flag("--as-received", o->as_received,
                    "Without EDITED: seal the way back although checks of the read fail");
  command->add_flag("--no-options", o->no_options, "This revision is made of no option");
  command->add_option("--unaccounted", o->unaccounted,
                      "Why changed bytes that no option explains are right; goes into the manifest");
  command->add_option("--beyond-limits", o->limits,
                      "Why values outside their limits are right; goes into the manifest");
  command->add_option("--parent", o->parent, "The revision that this one follows (default: the newest)")
      ->when_given([o] { o->has_parent = true; })
      ->in_range(0, 1099511627775);
  command->add_option("--title", o->title, "One line for people");
  command->add_option("--notes-file", o->notes_file, "Text file with notes");
  command->add_option("--requirement", o->requirements,
                      "A line: what must be true of the vehicle (repeatable)");
  command->add_option("--caution", o->cautions, "A line: what the customer must mind (repeatable)");
  command->add_option("--expires", o->expires, "Makes it a trial until this time (UTC)");
  add_job_signing_options(*command, *o, true);
  add_ledger_key_option(*command, *o);
  set_command(
      *command, console,
      {"calseal job send oak-17 flash=edited.bin --title \"first tune\" --key author.key --trust shop.trust",
       "calseal job send oak-17 flash=edited2.bin --option e85.json --option shift-light.json --key "
       "author.key --trust shop.trust",
       "calseal job send oak-17 --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
