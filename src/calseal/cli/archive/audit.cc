#include <memory>

#include "calseal/cli/archive/archive_commands.h"
#include "calseal/cli/archive/audit_run.h"
#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_audit_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand(
      "audit", "Read a whole archive again: what is damaged, missing, extra, altered or forged");
  auto o = std::make_shared<AuditOptions>();
  command->add_option("DIR", o->folders, "Folders of the archive, of any shape; the ledger's too")
      ->takes("FOLDER");
  command->add_option("--trust", o->trust, "The shop's newest trust file")->takes("FILE");
  command->add_option("--root", o->root, "The root's fingerprint as the shop reads it aloud, or its key id")
      ->takes("FINGERPRINT");
  command
      ->add_option("--succession", o->successions,
                   "A succession that led to this root, the oldest first (repeatable)")
      ->takes("FILE")
      ->one_each();
  command
      ->add_option(
          "--depth", o->depth,
          "stored: containers, signatures, digests; proved: images rebuilt, confinement and checksums too")
      ->one_of({"stored", "proved"});
  add_audit_output(*command, o->output);
  command->add_flag("--resume", o->resume, "Go on with a run that was stopped, by its --record");
  command->add_option("--mirror", o->mirror, "A second tree in which good copies are looked for")
      ->takes("FOLDER");
  command->add_flag("--heal", o->heal,
                    "Put good copies from --mirror in place; what was damaged is kept in .calseal-aside");
  command
      ->add_option("--part", o->part, "Only part K of N (K/N), or auto: as the engine that started this says")
      ->takes("K/N");
  command->add_option("--threads", o->threads, "Threads; one for each processor else")->in_range(1, 1024);
  set_command(
      *command, console,
      {"calseal audit archive shop-ledger --trust shop.trust --depth proved --record 2026-06.record",
       "calseal audit archive --trust shop.trust --since 2026-05.record --report audit.xml",
       "calseal audit archive --trust shop.trust --mirror /backup/archive --heal",
       "parallel calseal audit archive --trust shop.trust --part {}/8 --record p{}.record ::: 1 2 3 4 5 6 7 "
       "8"},
      [o, command, &status](Console& c) -> Result<int> {
        if (command->has_run_subcommand()) return status;  // that one has run
        return audit_as_told(*o, c);
      },
      status);
  add_audit_merge_command(*command, console, status);
  add_audit_findings_command(*command, console, status);
}

}  // namespace calseal
