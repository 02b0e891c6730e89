
#include "calseal/base/interrupt.h"
#include "calseal/cli/archive/archive_commands.h"
#include "calseal/cli/check/check_command.h"
#include "calseal/cli/check/confirm_command.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/manual/manual_commands.h"
#include "calseal/cli/option/option_commands.h"
#include "calseal/cli/parcel/parcel_commands.h"
#include "calseal/cli/query/query_commands.h"
#include "calseal/cli/report/report_commands.h"
#include "calseal/cli/shop/sheet_commands.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/study/study_commands.h"

namespace {

void add_for_the_customer(calseal::CommandLine& app, calseal::Console& console, const std::string& tool,
                          int& status) {
  app.heading("For the customer");
  calseal::add_customer_page_command(app, console, tool, status);
  calseal::CommandLine* check =
      app.add_subcommand("check", "Judge a bundle against the controller's own read, and rebuild the image");
  calseal::add_check_command(*check, console, "calseal check", status);
  calseal::add_confirm_command(app, console, status);
  calseal::add_sheet_command(app, console, status);
  calseal::add_withdraw_command(app, console, status);
}

}  // namespace

int main(int argc, char** argv) {
  calseal::install_interrupt_handler();
  calseal::Console console;
  int status = 0;
  calseal::CommandLine app(
      "Integrity and revision packager for controller images: judge, prove, correct, seal, check.", "calseal",
      CALSEAL_VERSION);
  app.require_subcommand();
  const std::string tool = "calseal " CALSEAL_VERSION;

  app.heading("Every day");
  calseal::add_receive_command(app, console, status);
  calseal::add_parcel_commands(app, console, status);
  calseal::add_job_command(app, console, tool, status);
  calseal::add_job_sign_list_command(app, console, status);
  calseal::add_job_make_set_command(app, console, status);
  calseal::add_compare_command(app, console, status);
  calseal::add_checksums_command(app, console, status);
  calseal::add_correct_command(app, console, status);
  calseal::add_option_command(app, console, status);
  calseal::add_plan_command(app, console, status);
  calseal::add_seal_command(app, console, tool, status);
  calseal::add_countersign_command(app, console, status);
  calseal::add_show_command(app, console, status);
  calseal::add_report_command(app, console, tool, status);

  app.heading("Once: keys, trust file, region maps");
  calseal::add_shop_command(app, console, status);
  calseal::add_key_command(app, console, status);
  calseal::add_regions_command(app, console, status);
  calseal::add_regions_draft_command(app, console, status);
  calseal::add_regions_carry_command(app, console, status);
  calseal::add_regions_diff_command(app, console, status);
  calseal::add_regions_history_command(app, console, status);
  calseal::add_regions_approve_command(app, console, status);

  add_for_the_customer(app, console, tool, status);

  app.heading("Archive and ledger");
  calseal::add_find_command(app, console, status);
  calseal::add_identify_command(app, console, status);
  calseal::add_ledger_command(app, console, status);
  calseal::add_audit_command(app, console, status);
  calseal::add_evidence_command(app, console, tool, status);

  app.heading("");
  calseal::add_reasons_command(app, console, status);
  calseal::add_manual_command(app, console, tool, status);
  calseal::add_completion_command(app, console, status);
  app.last_line(
      "Besides: calseal reasons (every reason code), calseal manual (man pages), calseal completion "
      "(bash, zsh, fish).");
  return calseal::run_program(app, console, argc, argv, status);
}
