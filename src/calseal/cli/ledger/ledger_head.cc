#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/head.h"
#include "calseal/report/ledger/ledger_report.h"

namespace calseal {
namespace {

struct HeadOptions {
  std::string folder, trust, passphrase_file, time, output;
  std::vector<std::string> keys;
};

Result<int> run(const HeadOptions& options, const Console& console) {
  if (!options.output.empty()) {
    std::vector<std::string> inputs{options.trust, options.passphrase_file};
    inputs.insert(inputs.end(), options.keys.begin(), options.keys.end());
    CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  }
  CALSEAL_ASSIGN(const LoadedTrust trust, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  CALSEAL_ASSIGN(const std::vector<PrivateKey> keys, load_keys(options.keys, options.passphrase_file));
  const Progress progress(console, "reading the ledger");
  CALSEAL_ASSIGN(const MadeHead made,
                 sign_head(options.folder, SigningKeys(keys.begin(), keys.end()), trust.trust, now));
  if (!options.output.empty()) {
    CALSEAL_CHECK(write_file(options.output, view_of(made.text)));
  }
  const Page page = page_for(console);
  console.print(
      std::string(made.was_there ? "signed before" : "signed") + "\n" +
      labelled(page, "head", tree_head_text(made.head.tree)) +
      labelled(page, "time", made.head.claimed_time + " (claimed)") +
      labelled(page, "kept as", printable(options.folder + "/" + made.file, 1000)) +
      "Hand it out with every bundle: whoever keeps it can show later that entries were changed.\n");
  console.print_json(json_object({{"calseal", json("ledger-head/1")},
                                  {"ledger", json(printable(options.folder, kShownPathLimit))},
                                  {"id", json_digest(made.head.ledger)},
                                  {"head", tree_head_json(made.head.tree)},
                                  {"claimed_time", json(made.head.claimed_time)},
                                  {"was_there", json(made.was_there)},
                                  {"file", json(made.file)}}));
  return 0;
}

}  // namespace

void add_ledger_head_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand("head", "Sign the head of all entries, and keep it");
  auto o = std::make_shared<HeadOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->takes("FOLDER")->required();
  command->add_option("--key", o->keys, "Private key with the role ledger (repeatable)")
      ->takes("FILE")
      ->required();
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the keys")
      ->takes("FILE");
  command->add_option("--trust", o->trust, "The shop's newest trust file")->takes("FILE")->required();
  command
      ->add_option("--claimed-time", o->time, "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command->add_option("-o,--output", o->output, "Also write it here")->takes("FILE");
  add_shop_option(*command, {kShopLedger, kLedgerKey, kShopTrust});
  set_command(
      *command, console,
      {"calseal ledger head shop-ledger --key ledger.key --trust shop.trust",
       "calseal ledger head shop-ledger --key ledger.key --trust shop.trust -o r1.head"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
