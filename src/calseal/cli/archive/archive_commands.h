// Audits on the command line.
#pragma once

#include "calseal/cli/console/console.h"

namespace calseal {

// `calseal audit` and `calseal audit merge`.
void add_audit_command(CLI::App& app, Console& console, int& status);

}  // namespace calseal
