#include "calseal/sign/countersign.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

struct CounterSignOptions {
  std::string bundle, trust, passphrase_file, output;
  std::vector<std::string> keys;
};

Result<CounterSignedBundle> sign_again(const CounterSignOptions& options) {
  std::vector<std::string> inputs{options.bundle, options.trust, options.passphrase_file};
  inputs.insert(inputs.end(), options.keys.begin(), options.keys.end());
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  CALSEAL_ASSIGN(const Bytes bundle, read_file(options.bundle, kBundleSizeLimit));
  CALSEAL_ASSIGN(const std::vector<PrivateKey> keys, load_keys(options.keys, options.passphrase_file));
  CALSEAL_ASSIGN(CounterSignedBundle made, countersign(bundle, printable(options.bundle),
                                                       SigningKeys(keys.begin(), keys.end()), loaded.trust));
  CALSEAL_CHECK(write_file(options.output, made.file));
  return made;
}

int run_countersign(const CounterSignOptions& options, const Console& console) {
  const Result<CounterSignedBundle> made = sign_again(options);
  if (!made) return console.fail(made.error());
  const Manifest& manifest = made->manifest;
  std::string text =
      "signed    " + printable(options.output) + "  (" + grouped(made->file.size()) + " bytes)\n" +
      "revision  " + std::to_string(manifest.revision) + " of job " + manifest.job + ", " +
      manifest.controller().name + ", base " + std::to_string(manifest.base_number) + ", sequence " +
      std::to_string(manifest.sequence) + "\n" + "identity  " + digest_text(made->digest) + "  (as before)\n";
  for (const std::string& signer : made->signers) text += "signer    " + printable(signer) + "\n";
  if (made->incomplete)
    text += "INCOMPLETE  more signatures are needed; nobody accepts this bundle before they are added\n";
  console.print(text);
  console.print_json(json_object({{"calseal", json("countersign/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"identity", json(digest_text(made->digest))},
                                  {"job", json(manifest.job)},
                                  {"controller", json(manifest.controller().name)},
                                  {"base", json(manifest.base_number)},
                                  {"revision", json(manifest.revision)},
                                  {"sequence", json(manifest.sequence)},
                                  {"size", json(made->file.size())},
                                  {"signers", json_strings(made->signers)},
                                  {"incomplete", json(made->incomplete)}}));
  return 0;
}

}  // namespace

void add_countersign_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("countersign", "Add a signature to a sealed bundle; the revision stays the same");
  auto o = std::make_shared<CounterSignOptions>();
  command->add_option("BUNDLE", o->bundle, "The bundle, out of your own archive")->takes("FILE")->required();
  command->add_option("--key", o->keys, "Private key that signs (repeatable)")->takes("FILE")->required();
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the keys")
      ->takes("FILE");
  command->add_option("--trust", o->trust, "The shop's newest trust file, which lists the keys")
      ->takes("FILE")
      ->required();
  command->add_option("-o,--output", o->output, "The bundle to write")->takes("FILE")->required();
  add_shop_option(*command, {kAuthorKeys, kShopTrust});
  set_command(
      *command, console,
      {"calseal countersign r1.calseal --key reviewer.key --trust shop.trust -o r1-reviewed.calseal"},
      [o](Console& c) { return run_countersign(*o, c); }, status);
}

}  // namespace calseal
