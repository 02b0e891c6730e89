#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/passphrase.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/sign/new_shop.h"
#include "calseal/sign/shop_file.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

struct ShopNewOptions {
  std::string name, folder, key_name = "first key", passphrase_file, root_passphrase_file, time;
};

Result<NewShop> make_shop(const ShopNewOptions& options) {
  if (!is_line(options.name) || options.name.empty() || !is_line(options.key_name)) {
    return fail({Reason::kUsage, "", "--name", "\"" + printable(options.name, 60) + "\"",
                 "a line of 1 to 200 bytes", "choose a shorter name without control characters"});
  }
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(options.passphrase_file, "the signing keys", PassphraseUse::kChoose));
  std::string root_passphrase = passphrase;
  if (!options.root_passphrase_file.empty()) {
    CALSEAL_ASSIGN(root_passphrase,
                   obtain_passphrase(options.root_passphrase_file, "the root", PassphraseUse::kChoose));
  }
  Result<NewShop> shop = new_shop({options.name, options.key_name, now, passphrase, root_passphrase});
  wipe(passphrase);
  wipe(root_passphrase);
  return shop;
}

Status write_shop_files(const std::string& folder, const NewShop& shop) {
  std::vector<PendingFile> files;
  for (const NewShopFile& file : shop.files) {
    files.push_back({folder + "/" + file.name, view_of(file.text), file.mode, Existing::kRefuse});
  }
  return write_files(files);
}

std::string made_text(const std::string& folder, const NewShop& shop) {
  std::string text;
  for (const NewShopFile& file : shop.files) {
    if (file.purpose.empty()) continue;
    text += (text.empty() ? "made      " : "          ") + printable(folder + "/" + file.name) + "  (" +
            file.purpose + ")\n";
  }
  return text + "root      " + spoken_code(Spoken::kKey, shop.root) + "\n" +
         "          read this code aloud to every customer once; he compares it with what check prints\n";
}

Result<int> run_new(const ShopNewOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const NewShop shop, make_shop(options));
  CALSEAL_CHECK(write_shop_files(options.folder, shop));
  console.print(made_text(options.folder, shop));
  const auto path = [&](const std::string& name) {
    return json(printable(options.folder + "/" + name, kShownPathLimit));
  };
  console.print_json(json_object({{"calseal", json("shop-new/1")},
                                  {"root_key", path("root.key")},
                                  {"author_key", path("author.key")},
                                  {"withdrawal_key", path("withdrawal.key")},
                                  {"trust", path("shop.trust")},
                                  {"withdrawals", path("withdrawn.list")},
                                  {"shop_file", path(std::string(kShopFileName))},
                                  {"root_id", json(digest_text(shop.root))},
                                  {"author_id", json(digest_text(shop.author))},
                                  {"withdrawal_id", json(digest_text(shop.withdrawal))},
                                  {"root_fingerprint", json(spoken_code(Spoken::kKey, shop.root))}}));
  return 0;
}

}  // namespace

void add_shop_new_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command = shop.add_subcommand(
      "new", "Make root, signing keys, trust file, list of withdrawals and shop file in one go");
  auto o = std::make_shared<ShopNewOptions>();
  command->add_option("FOLDER", o->folder, "An existing folder; nothing in it is replaced")->required();
  command->add_option("--name", o->name, "The shop's name, as customers know it")->required();
  command->add_option("--key-name", o->key_name, "Whose the author's key is");
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the new keys");
  command->add_option("--root-passphrase-file", o->root_passphrase_file,
                      "First line: another passphrase for the root");
  command->add_option("--claimed-time", o->time,
                      "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)");
  set_command(
      *command, console,
      {"calseal shop new keys --name \"Example Shop\"",
       "calseal shop new keys --name \"Example Shop\" --passphrase-file word.txt --json"},
      [o](Console& c) { return run_new(*o, c); }, status);
}

}  // namespace calseal
