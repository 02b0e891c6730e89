#include <memory>

#include "calseal/base/file.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/report/job/worklist_report.h"

namespace calseal {
namespace {

struct ListOptions {
  std::string folder = ".", trust, withdrawals, html;
};

Result<int> run(const ListOptions& options, const std::string& tool, const Console& console) {
  Progress progress(console, "reading the jobs");
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  CALSEAL_ASSIGN(const Worklist list, read_worklist(options.folder, loaded->context));
  if (!options.html.empty()) CALSEAL_CHECK(write_file(options.html, view_of(worklist_html(list, tool))));
  progress.end();
  console.print(worklist_text(list, page_for(console)));
  console.print_json(worklist_json(list));
  bool sound = list.unread.empty();
  for (const ListedJob& job : list.jobs) sound = sound && !job.fault && job.findings == 0;
  return sound ? 0 : 1;
}

}  // namespace

void add_job_list_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command =
      job.add_subcommand("list", "All jobs of a folder: what each waits for, since when, and who must act");
  auto o = std::make_shared<ListOptions>();
  command->add_option("FOLDER", o->folder, "Where the jobs are (default: this folder)")->takes("FOLDER");
  command->add_option("--trust", o->trust, "The shop's trust file: judges every seal")->takes("FILE");
  command->add_option("--withdrawals", o->withdrawals, "The shop's newest list of withdrawals")
      ->takes("FILE");
  command->add_option("--page", o->html, "Also write the list as an HTML page here")->takes("FILE");
  add_shop_option(*command, {kShopTrust, kShopWithdrawals}, {"FOLDER"});
  set_command(
      *command, console, {"calseal job list jobs", "calseal job list jobs --page today.html --json"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
