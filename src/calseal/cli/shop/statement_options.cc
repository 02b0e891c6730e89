#include "calseal/cli/shop/statement_options.h"

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_statement_options(CommandLine& command, StatementOptions& options, const std::string& whose) {
  command.add_option("--key", options.keys, "Private key " + whose + " (repeatable)")
      ->takes("FILE")
      ->required();
  command.add_option("--passphrase-file", options.passphrase_file, "First line: passphrase of the keys")
      ->takes("FILE");
  command.add_option("--trust", options.trust, "The shop's newest trust file")->takes("FILE")->required();
  command
      .add_option("--claimed-time", options.time,
                  "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command.add_option("-o,--output", options.output, "The file to write; nothing is replaced")
      ->takes("FILE")
      ->required();
}

void add_approval_option(CommandLine& command, std::vector<std::string>& approvals) {
  command
      .add_option("--approval", approvals,
                  "Approval of the region map, where it allows more than the one before (see calseal regions "
                  "approve; repeatable)")
      ->takes("FILE")
      ->one_each();
}

}  // namespace calseal
