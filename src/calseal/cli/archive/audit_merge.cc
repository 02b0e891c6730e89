#include <memory>

#include "calseal/archive/audit.h"
#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/cli/archive/archive_commands.h"
#include "calseal/cli/archive/audit_output.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"

namespace calseal {
namespace {

struct MergeOptions {
  std::vector<std::string> records;
  AuditOutput output;
};

Result<int> run_merge(const MergeOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const EarlierAudit earlier, load_earlier(options.output));
  std::vector<std::string> outputs = options.output.reports;
  if (!options.output.record.empty()) outputs.push_back(options.output.record);
  CALSEAL_CHECK(refuse_clashes(outputs, options.records));
  CALSEAL_CHECK(refuse_unwritable(options.output));
  std::vector<AuditRecord> parts;
  for (const std::string& path : options.records) {
    CALSEAL_ASSIGN(AuditRecord part, load_record(path));
    parts.push_back(std::move(part));
  }
  CALSEAL_ASSIGN(const AuditRecord record, join_records(std::move(parts)));
  Status recorded;
  if (!options.output.record.empty())
    recorded = write_file(options.output.record, view_of(write_record(record)));
  Judgement judgement =
      judge_record(record, earlier.record ? &*earlier.record : nullptr, options.output.expected);
  if (!options.output.since.empty()) compare_findings(judgement, earlier.findings);
  return give_out(judgement, options.output, recorded, console);
}

}  // namespace

void add_audit_merge_command(CommandLine& audit, Console& console, int& status) {
  CommandLine* command =
      audit.add_subcommand("merge", "Join the records of all parts into the report of one run");
  auto o = std::make_shared<MergeOptions>();
  command->add_option("RECORD", o->records, "The record of each part")->takes("FILE")->required();
  add_audit_output(*command, o->output);
  set_command(
      *command, console, {"calseal audit merge part-*.record --report audit.xml --record 2026-06.record"},
      [o](Console& c) { return run_merge(*o, c); }, status);
}

namespace {

JsonValue findings_list_json() {
  return json_object({{"calseal", json("audit-findings/1")},
                      {"findings", json_array(all_findings(), [](const FindingInfo& row) {
                         return json_object({{"code", json(row.name)},
                                             {"severity", json(severity_name(row.severity))},
                                             {"meaning", json(row.meaning)},
                                             {"next", json(row.next)}});
                       })}});
}

}  // namespace

void add_audit_findings_command(CommandLine& audit, Console& console, int& status) {
  CommandLine* command =
      audit.add_subcommand("findings", "Everything that an audit can find, and what to do");
  auto markdown = std::make_shared<bool>(false);
  command->add_flag("--markdown", *markdown, "As the table of docs/audit.md");
  set_command(
      *command, console, {"calseal audit findings", "calseal audit findings --json"},
      [markdown](Console& c) -> Result<int> {
        c.print(*markdown ? findings_markdown() : findings_text(page_for(c)));
        c.print_json(findings_list_json());
        return 0;
      },
      status);
}

}  // namespace calseal
