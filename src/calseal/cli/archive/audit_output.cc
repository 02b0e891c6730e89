#include "calseal/cli/archive/audit_output.h"

#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

#include "calseal/archive/finding_json.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {

void add_audit_output(CommandLine& command, AuditOutput& output) {
  command
      .add_option(
          "--since", output.since,
          "The record of an earlier audit, or its report as JSON: says what is new, gone and still there; a "
          "record also shows changes of files that nothing else proves")
      ->takes("FILE");
  command
      .add_option("--report", output.reports,
                  "Write all findings to FILE: .txt, .jsonl (JSON lines), .csv, .xml (JUnit) or .prom "
                  "(Prometheus) (repeatable)")
      ->takes("FILE")
      ->one_each();
  command
      .add_option("--record", output.record,
                  "Write down what was seen: for --since of the next audit, for --resume, and for merge")
      ->takes("FILE");
  command
      .add_option("--expect", output.expected,
                  "At least so many files, or it is a finding; 0 permits an empty archive")
      ->takes("N");
}

Status refuse_unwritable(const AuditOutput& output) {
  std::vector<std::string> paths = output.reports;
  if (!output.record.empty()) paths.push_back(output.record);
  for (const std::string& path : paths) {
    std::string folder = std::filesystem::path(path).parent_path().string();
    if (folder.empty()) folder = ".";
    std::error_code code;
    const int error = std::filesystem::is_directory(path, code)    ? EISDIR
                      : ::access(folder.c_str(), W_OK | X_OK) != 0 ? errno
                                                                   : 0;
    if (error == 0) continue;
    return fail({Reason::kWriteFailed, printable(path), "", std::strerror(error),
                 "a place where a file can be made", "make its folder, or name another place"});
  }
  return {};
}

Result<AuditRecord> load_record(const std::string& path) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kRecordSizeLimit));
  return parse_record(text_of(bytes), printable(path));
}

Result<EarlierAudit> load_earlier(const AuditOutput& output) {
  for (const std::string& report : output.reports) {
    if (report_format_of(report)) continue;
    return fail(usage_error("--report", printable(report),
                            "a name that ends in .txt, .jsonl, .csv, .xml or .prom",
                            "choose the format by the name"));
  }
  EarlierAudit earlier;
  if (output.since.empty()) return earlier;
  CALSEAL_ASSIGN(const Bytes bytes, read_file(output.since, kRecordSizeLimit));
  if (!text_of(bytes).starts_with(kRecordLiteral)) {
    CALSEAL_ASSIGN(earlier.findings, parse_audit_report(text_of(bytes), printable(output.since)));
    return earlier;
  }
  CALSEAL_ASSIGN(earlier.record, parse_record(text_of(bytes), printable(output.since)));
  if (!earlier.record->whole || earlier.record->scope.part != Part{}) {
    return fail({Reason::kAuditRecordOther, printable(output.since), "",
                 "the record of a part, or of a run cut off", "the record of a whole audit",
                 "merge the parts first"});
  }
  earlier.findings = judge_record(*earlier.record, nullptr).findings;
  return earlier;
}

Result<int> give_out(const Judgement& judgement, const AuditOutput& output, const Status& recorded,
                     const Console& console) {
  std::vector<std::string> texts;
  std::vector<PendingFile> files;
  for (const std::string& report : output.reports)
    texts.push_back(audit_report(judgement, *report_format_of(report)));
  for (std::size_t i = 0; i < texts.size(); ++i) files.push_back({output.reports[i], view_of(texts[i])});
  const Status written = write_files(files);
  console.print(audit_text(judgement, page_for(console), kShownFindings));
  console.print_json(judgement_json(judgement, true));
  for (const Status* status : {&recorded, &written}) {
    if (*status) continue;
    // Not by the console's own way, which would print a second JSON value.
    console.note(error_text(status->error()));
    return exit_status(status->error().reason);
  }
  return judgement.clean() ? 0 : 1;
}

}  // namespace calseal
