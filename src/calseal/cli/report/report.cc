#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/check/check_evidence.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/report/report_commands.h"
#include "calseal/cli/report/report_subject.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

Result<int> run_report(ReportOptions& options, const Console& console) {
  const Progress progress(console, "reading and drawing");
  const ReportSubject subject = subject_of(options.bundle);
  if (!options.since.empty() && subject != ReportSubject::kAudit)
    return fail(usage_error("--since", "no record of an audit to compare",
                            "the record of an audit as SUBJECT", "leave it out"));
  std::vector<std::string> inputs = evidence_paths(options);
  inputs.insert(inputs.end(), options.beside.begin(), options.beside.end());
  if (!options.since.empty()) inputs.push_back(options.since);
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const MadeReport made, make_report(subject, options));
  CALSEAL_CHECK(write_file(options.output, view_of(made.html)));
  console.print("made      " + printable(options.output) + "  (" + bytes_text(made.html.size()) + ")\n" +
                "it says   " + made.words + "\n");
  console.print_json(json_object({{"calseal", json("report/1")},
                                  {"output", json(printable(options.output))},
                                  {"size", json(made.html.size())},
                                  {"digest", json_digest(compute_sha256(view_of(made.html)))},
                                  {"report", made.summary}}));
  return made.status;
}

}  // namespace

void add_report_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* command = app.add_subcommand(
      "report", "Write a page about a revision, a job or an audit: one HTML file to read and print");
  auto options = std::make_shared<ReportOptions>();
  options->tool = tool;
  command
      ->add_option(
          "SUBJECT", options->bundle,
          "A bundle (*.calseal), a job's folder or that of one controller, or the record of an audit")
      ->takes("FILE|FOLDER")
      ->required();
  command->add_option("-o,--output", options->output, "The HTML file")->takes("FILE")->required();
  command
      ->add_option("--beside", options->beside,
                   "Another bundle of the job: its line of revisions; revision 0 gives the values before")
      ->takes("FILE");
  command
      ->add_option("--since", options->since,
                   "For an audit: the record of an earlier one, or its report as JSON; says what is new")
      ->takes("FILE");
  add_check_evidence(*command, *options);
  set_command(
      *command, console,
      {"calseal report r2.calseal --trust shop.trust --beside r0.calseal --beside r1.calseal -o r2.html",
       "calseal report r2.calseal --trust shop.trust --salt job.salt --read flash=f.bin --read eeprom=e.bin "
       "-o r2.html",
       "calseal report oak-17 --trust shop.trust -o oak-17.html",
       "calseal report 2026-06.record --since 2026-05.record -o audit.html"},
      [options](Console& c) { return run_report(*options, c); }, status);
}

}  // namespace calseal
