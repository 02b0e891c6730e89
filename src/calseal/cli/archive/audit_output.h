// What both audit commands do with a judgement: compare, write reports, print.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/archive/judge.h"
#include "calseal/base/result.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/report/archive/audit_report.h"

namespace calseal {

struct AuditOutput {
  std::string since, record;
  std::vector<std::string> reports;
};
void add_audit_output(CommandLine& command, AuditOutput& output);

// What an earlier audit left: its record, or only its findings.
struct EarlierAudit {
  std::optional<AuditRecord> record;
  std::vector<Finding> findings;
};
// kUsage for a report whose name tells no format; the reasons of reading and parsing --since.
Result<EarlierAudit> load_earlier(const AuditOutput& output);
Result<AuditRecord> load_record(const std::string& path);

// Writes the reports, prints, and gives the exit status: 1 unless clean.
Result<int> give_out(const Judgement& judgement, const AuditOutput& output, const Console& console);

}  // namespace calseal
