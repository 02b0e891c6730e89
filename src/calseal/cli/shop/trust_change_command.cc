#include "calseal/cli/shop/trust_change_command.h"

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/trust_report.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/sign/trust_change.h"

namespace calseal {

VersionBefore before_of(const LoadedTrust& loaded) {
  return {loaded.trust.version, compute_key_id(loaded.trust.root), view_of(loaded.text)};
}

std::string aside_text(const std::string& path) {
  return path.empty() ? "" : "aside     " + printable(path) + "  (the version before)\n";
}

void add_trust_change_options(CommandLine& command, TrustChangeOptions& options) {
  command
      .add_option("TRUST", options.trust,
                  "The shop's newest trust file; it is replaced, and kept as NAME-v<version>")
      ->takes("FILE")
      ->required();
  command.add_option("--root-key", options.root_key, "The root's private key")->takes("FILE")->required();
  command.add_option("--passphrase-file", options.passphrase_file, "First line: passphrase of the root")
      ->takes("FILE");
  command
      .add_option("--claimed-time", options.time,
                  "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command
      .add_option("-o,--output", options.output,
                  "Write the new trust file here instead, and leave TRUST as it is; nothing is replaced")
      ->takes("FILE");
}

int run_trust_change(const TrustChangeOptions& options, const std::vector<std::string>& inputs,
                     const std::function<Result<TrustChange>(TrustFile&)>& change, const Console& console) {
  TrustFile trust;
  std::string put_aside;
  const VersionPlace place{options.trust, options.output};
  const auto run = [&]() -> Result<TrustChange> {
    std::vector<std::string> read{options.trust, options.root_key, options.passphrase_file};
    read.insert(read.end(), inputs.begin(), inputs.end());
    if (!options.output.empty()) CALSEAL_CHECK(refuse_clashes({options.output}, read));
    CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
    trust = loaded.trust;
    CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
    CALSEAL_CHECK(begin_version(trust, time_text(now)));
    CALSEAL_ASSIGN(TrustChange made, change(trust));
    CALSEAL_ASSIGN(const PrivateKey root, load_key(options.root_key, options.passphrase_file));
    CALSEAL_ASSIGN(const std::string file, seal_trust_file(trust, root));
    CALSEAL_ASSIGN(put_aside, write_next_version(place, before_of(loaded), view_of(file)));
    return made;
  };
  const Result<TrustChange> made = run();
  if (!made) return console.fail(made.error());
  console.print("made      " + printable(place.chosen()) + "  (version " + std::to_string(trust.version) +
                "; give it to all customers)\n" + aside_text(put_aside) + trust_text(trust) + made->advice);
  console.print_json(json_object({{"calseal", json("shop-change/1")},
                                  {"change", json(made->code)},
                                  {"key", json(made->key)},
                                  {"output", json(printable(place.chosen(), kShownPathLimit))},
                                  {"put_aside", json(printable(put_aside, kShownPathLimit))},
                                  {"trust", trust_json(trust)}}));
  return 0;
}

}  // namespace calseal
