#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/archive/audit_output.h"
#include "calseal/cli/check/check_evidence.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/report/report_commands.h"
#include "calseal/job/layout.h"
#include "calseal/report/archive/audit_page.h"
#include "calseal/report/job/job_page.h"
#include "calseal/report/revision/revision_report.h"

namespace calseal {
namespace {

struct ReportOptions : CheckEvidence {
  std::string output, tool, since;
  std::vector<std::string> beside;
};

struct Made {
  std::string html;
  JsonValue summary;
  std::string words;  // what it says on top
  int status = 0;
};

Result<OpenedBundle> open_beside(const std::string& path) {
  CALSEAL_ASSIGN(Bytes file, read_file(path, kBundleSizeLimit));
  return open_unverified(std::move(file), printable(path));
}

// Judged by the checker when there is a trust file; what it shows comes from the very bytes that were judged.
Result<Made> report_revision(ReportOptions& options) {
  CALSEAL_ASSIGN(Bytes file, read_file(options.bundle, kBundleSizeLimit));
  std::optional<Verdict> verdict;
  if (!options.trust.empty()) {
    options.seal_only = options.reads.empty() && !options.revive;
    CALSEAL_ASSIGN(CheckRequest request, load_check_request(options));
    request.bundle = file;
    verdict = check_bundle(std::move(request));
  }
  const Result<OpenedBundle> opened = open_unverified(std::move(file), printable(options.bundle));
  if (!opened && !verdict) return fail(opened.error());
  std::vector<OpenedBundle> others;
  for (const std::string& path : options.beside) {
    CALSEAL_ASSIGN(OpenedBundle other, open_beside(path));
    others.push_back(std::move(other));
  }
  Result<Read> read = Read();
  if (opened && !options.reads.empty()) {
    read = load_read_arguments(opened->map, options.reads);
    // With a verdict, what is wrong with the read stands there.
    if (!read && !verdict) return fail(read.error());
  }
  RevisionView view{printable(options.bundle),
                    opened ? &*opened : nullptr,
                    verdict ? &*verdict : nullptr,
                    {},
                    read && !options.reads.empty() ? &read->image : nullptr,
                    options.tool};
  for (const OpenedBundle& other : others) view.beside.push_back(&other);
  Made made{revision_html(view), revision_summary_json(view), "not verified: no trust file was given", 0};
  if (verdict) {
    made.words = std::string(outcome_name(verdict->outcome));
    if (verdict->reason) made.words += " [" + std::string(code(verdict->reason->reason)) + "]";
    made.status = verdict->reason ? exit_status(verdict->reason->reason) : 0;
  }
  return made;
}

Result<Made> report_job(const ReportOptions& options) {
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  CALSEAL_ASSIGN(const Job job, read_job(options.bundle, loaded->context));
  const JobView view{&job, loaded->context.trust != nullptr, options.tool};
  const std::size_t findings = job.findings.size();
  return Made{job_html(view), job_summary_json(view),
              findings == 0   ? "no findings"
              : findings == 1 ? "1 finding"
                              : std::to_string(findings) + " findings",
              findings == 0 ? 0 : 1};
}

Result<Made> report_audit(const ReportOptions& options) {
  CALSEAL_ASSIGN(const AuditRecord record, load_record(options.bundle));
  if (record.scope.part != Part{}) {
    return fail({Reason::kAuditRecordOther, printable(options.bundle), "",
                 "part " + std::to_string(record.scope.part.number) + " of " +
                     std::to_string(record.scope.part.of) + " of an audit",
                 "the record of a whole audit", "join its parts with calseal audit merge"});
  }
  CALSEAL_ASSIGN(const EarlierAudit earlier, load_earlier({options.since, "", {}}));
  Judgement judgement = judge_record(record, earlier.record ? &*earlier.record : nullptr);
  if (!options.since.empty()) compare_findings(judgement, earlier.findings);
  const AuditView view{&record, &judgement, options.tool};
  return Made{audit_html(view), audit_summary_json(view), audit_words(judgement), judgement.clean() ? 0 : 1};
}

enum class Subject : std::uint8_t { kRevision, kJob, kAudit };
Subject subject_of(const std::string& path) {
  if (exists(path + "/" + std::string(kJobFile))) return Subject::kJob;
  // What cannot be read is told by whoever reads all of it.
  Bytes beginning;
  Result<PartialFile> file = PartialFile::open(path, kRecordSizeLimit);
  if (file && file->read_up_to(kRecordLiteral.size(), beginning) &&
      text_of(beginning).starts_with(kRecordLiteral))
    return Subject::kAudit;
  return Subject::kRevision;
}

Result<int> run_report(ReportOptions& options, const Console& console) {
  const Progress progress(console, "reading and drawing");
  const Subject subject = subject_of(options.bundle);
  if (!options.since.empty() && subject != Subject::kAudit)
    return fail(usage_error("--since", "no record of an audit to compare",
                            "the record of an audit as SUBJECT", "leave it out"));
  std::vector<std::string> inputs = evidence_paths(options);
  inputs.insert(inputs.end(), options.beside.begin(), options.beside.end());
  if (!options.since.empty()) inputs.push_back(options.since);
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const Made made, subject == Subject::kJob     ? report_job(options)
                                  : subject == Subject::kAudit ? report_audit(options)
                                                               : report_revision(options));
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
      ->add_option("SUBJECT", options->bundle,
                   "A bundle (*.calseal), a job folder, or the record of an audit")
      ->required();
  command->add_option("-o,--output", options->output, "The HTML file")->required();
  command->add_option("--beside", options->beside,
                      "Another bundle of the job: its line of revisions; revision 0 gives the values before");
  command->add_option("--since", options->since,
                      "For an audit: the record of an earlier one, or its report as JSON; says what is new");
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
