// What all commands have in common that make the next version of a trust file.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/sign/next_version.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

struct TrustChangeOptions {
  std::string trust, root_key, passphrase_file, output, time;
};

// TRUST, --root-key, --passphrase-file, --claimed-time, --output.
void add_trust_change_options(CommandLine& command, TrustChangeOptions& options);

// What became of a change: the code for programs, the key it is about ("" for none), and what to do now.
struct TrustChange {
  std::string code;
  std::string key;
  std::string advice;  // whole lines
};

// A trust file that is to be replaced, and where it was put aside, as it is said ("" for nowhere).
VersionBefore before_of(const LoadedTrust& loaded);
std::string aside_text(const std::string& path);

// Reads the trust file, makes the next version, lets `change` alter it, has the root sign it, and writes it
// under the same name, the version before put aside; or to another file, never over an old one. `inputs` are
// further files that the command reads. Prints shop-change/1.
int run_trust_change(const TrustChangeOptions& options, const std::vector<std::string>& inputs,
                     const std::function<Result<TrustChange>(TrustFile&)>& change, const Console& console);

}  // namespace calseal
