#include "calseal/cli/shop/trust_change_command.h"

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_report.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/sign/trust_change.h"

namespace calseal {

void add_trust_change_options(CommandLine& command, TrustChangeOptions& options) {
  command.add_option("TRUST", options.trust, "The shop's newest trust file; it stays as it is")
      ->takes("FILE")
      ->required();
  command.add_option("--root-key", options.root_key, "The root's private key")->takes("FILE")->required();
  command.add_option("--passphrase-file", options.passphrase_file, "First line: passphrase of the root")
      ->takes("FILE");
  command
      .add_option("--claimed-time", options.time,
                  "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command.add_option("-o,--output", options.output, "The new trust file; nothing is replaced")
      ->takes("FILE")
      ->required();
}

int run_trust_change(const TrustChangeOptions& options, const std::vector<std::string>& inputs,
                     const std::function<Result<TrustChange>(TrustFile&)>& change, const Console& console) {
  TrustFile trust;
  const auto run = [&]() -> Result<TrustChange> {
    std::vector<std::string> read{options.trust, options.root_key, options.passphrase_file};
    read.insert(read.end(), inputs.begin(), inputs.end());
    CALSEAL_CHECK(refuse_clashes({options.output}, read));
    CALSEAL_ASSIGN(LoadedTrust loaded, load_trust(options.trust));
    trust = std::move(loaded.trust);
    CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
    CALSEAL_CHECK(begin_version(trust, time_text(now)));
    CALSEAL_ASSIGN(TrustChange made, change(trust));
    CALSEAL_ASSIGN(const PrivateKey root, load_key(options.root_key, options.passphrase_file));
    CALSEAL_ASSIGN(const std::string file, seal_trust_file(trust, root));
    CALSEAL_CHECK(write_file(options.output, view_of(file), FileMode::kPublic, Existing::kRefuse));
    return made;
  };
  const Result<TrustChange> made = run();
  if (!made) return console.fail(made.error());
  console.print("made      " + printable(options.output) + "  (version " + std::to_string(trust.version) +
                "; give it to all customers)\n" + trust_text(trust) + made->advice);
  console.print_json(json_object({{"calseal", json("shop-change/1")},
                                  {"change", json(made->code)},
                                  {"key", json(made->key)},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"trust", trust_json(trust)}}));
  return 0;
}

}  // namespace calseal
