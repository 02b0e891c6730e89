// The ledger on the command line: one file per command.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/bundle/manifest.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

void add_ledger_command(CommandLine& app, Console& console, int& status);  // ledger, with all that follow
void add_ledger_new_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_append_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_head_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_verify_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_show_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_prove_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_check_proof_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_erase_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_stamp_command(CommandLine& ledger, Console& console, int& status);
void add_ledger_repair_command(CommandLine& ledger, Console& console, int& status);

// A revision out of its bundle, believed under the trust file; signatures may still be missing.
struct LoadedRevision {
  Manifest manifest;
  Sha256 digest;
  Sha256 file_digest;
};
Result<LoadedRevision> load_revision(const std::string& path, const TrustFile& trust);

// A head that somebody kept, believed under the trust file.
Result<TreeHead> load_head(const std::string& path, const TrustFile& trust);
Result<std::vector<TreeHead>> load_heads(const std::vector<std::string>& paths, const TrustFile& trust);

Result<std::vector<NamedBytes>> load_authorities_of(const std::vector<std::string>& paths);

}  // namespace calseal
