// Audits on the command line.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

// `calseal audit`, with what stands below it.
void add_audit_command(CommandLine& app, Console& console, int& status);
void add_audit_merge_command(CommandLine& audit, Console& console, int& status);
void add_audit_findings_command(CommandLine& audit, Console& console, int& status);
// `calseal evidence`. `tool`: program and version, for the page.
void add_evidence_command(CommandLine& app, Console& console, const std::string& tool, int& status);

}  // namespace calseal
