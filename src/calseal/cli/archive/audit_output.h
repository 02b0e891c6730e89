// What both audit commands do with a judgement: compare, write reports, print.
#pragma once

#include <cstdint>
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
  std::optional<std::uint64_t> expected;  // at least so many files
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

// kWriteFailed for a report or record that certainly cannot be written: asked before a run of hours.
Status refuse_unwritable(const AuditOutput& output);

// Writes the reports, prints, and gives the exit status: 1 unless clean, and that of kWriteFailed where a
// report could not be written, or the record was not (`recorded`). The findings are printed in any case.
Result<int> give_out(const Judgement& judgement, const AuditOutput& output, const Status& recorded,
                     const Console& console);

}  // namespace calseal
