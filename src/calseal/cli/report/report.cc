#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/check/check_evidence.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/report/report_commands.h"
#include "calseal/cli/report/report_images.h"
#include "calseal/cli/report/report_subject.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

// One thing, named by SUBJECT or, for two images, by options; a read may be several files.
Status require_subject(ReportOptions& options) {
  if (options.subjects.size() > 1 && (options.regions.empty() || !options.after.empty()))
    return fail(usage_error("SUBJECT", std::to_string(options.subjects.size()) + " of them", "one",
                            "write a page for each"));
  if (!options.subjects.empty()) options.bundle = options.subjects.front();
  if (!options.bundle.empty() || !options.after.empty() || !options.now.empty()) return {};
  return fail(
      usage_error("SUBJECT", "nothing", "what the page is about", "calseal report --help has examples"));
}

Result<int> run_report(ReportOptions& options, const Console& console) {
  const Progress progress(console, "reading and drawing");
  CALSEAL_CHECK(require_subject(options));
  const ReportSubject subject = subject_of(options);
  const bool has_earlier = subject == ReportSubject::kAudit || subject == ReportSubject::kRegionMap;
  if (!options.since.empty() && !has_earlier)
    return fail(usage_error("--since", "neither a record of an audit nor a region map to compare",
                            "one of them as SUBJECT", "leave it out"));
  std::vector<std::string> inputs = evidence_paths(options);
  for (const std::string& path : paths_of(options.subjects)) inputs.push_back(path);
  inputs.insert(inputs.end(), options.beside.begin(), options.beside.end());
  for (const std::string& path : image_paths(options)) inputs.push_back(path);
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
          "SUBJECT", options->subjects,
          "A bundle (*.calseal), a job's folder or that of one controller, the record of an audit, a "
          "region map; with --regions an incoming read, one file for each memory")
      ->takes("[MEMORY=]FILE|FOLDER");
  command->add_option("-o,--output", options->output, "The HTML file")->takes("FILE")->required();
  command
      ->add_option("--beside", options->beside,
                   "Another bundle of the job: its line of revisions; revision 0 gives the values before")
      ->takes("FILE");
  command
      ->add_option(
          "--since", options->since,
          "For an audit: the record of an earlier one, or its report as JSON; says what is new. For a "
          "region map: the earlier one")
      ->takes("FILE");
  command
      ->add_option("--after", options->after,
                   "Before a seal: the edited image, shown against the base of SUBJECT or against --before")
      ->takes("[MEMORY=]FILE");
  command->add_option("--before", options->before, "Of two images: the first read, one file for each memory")
      ->takes("[MEMORY=]FILE");
  command
      ->add_option("--now", options->now,
                   "Of a write plan: what is in the vehicle now, written over by --after")
      ->takes("[MEMORY=]FILE");
  command
      ->add_option("--regions", options->regions,
                   "Of images: the region map; of a read: also a folder of them to choose from")
      ->takes("FILE|FOLDER")
      ->one_each();
  command->add_option("--known", options->known, "Of a read: folder of known stocks")->takes("FOLDER");
  add_check_evidence(*command, *options);
  set_command(
      *command, console,
      {"calseal report r2.calseal --trust shop.trust --beside r0.calseal --beside r1.calseal -o r2.html",
       "calseal report r2.calseal --trust shop.trust --salt job.salt --read flash=f.bin --read eeprom=e.bin "
       "-o r2.html",
       "calseal report oak-17 --trust shop.trust -o oak-17.html",
       "calseal report flash=f.bin eeprom=e.bin --regions maps --known stocks -o read.html",
       "calseal report engine.json --read flash=f.bin --read eeprom=e.bin -o map.html",
       "calseal report engine-4.json --since engine-3.json -o maps.html",
       "calseal report oak-17/engine --after flash=edited.bin -o draft.html",
       "calseal report --regions engine.json --before read.bin --after edited.bin -o draft.html",
       "calseal report --regions engine.json --now read.bin --after r2.bin -o plan.html",
       "calseal report 2026-06.record --since 2026-05.record -o audit.html"},
      [options](Console& c) { return run_report(*options, c); }, status);
}

}  // namespace calseal
