#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/passphrase.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/sign/private_key.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/trust_file.h"

namespace calseal {
namespace {

struct ShopNewOptions {
  std::string name, folder, key_name = "first key", passphrase_file, root_passphrase_file, time;
};

struct NewShop {
  std::string root_pem, key_pem, trust;
  std::string fingerprint;
  KeyId root_id, key_id;
};

Result<NewShop> make_shop(const ShopNewOptions& options) {
  if (!is_line(options.name) || options.name.empty() || !is_line(options.key_name)) {
    return fail({Reason::kUsage, "", "--name", "\"" + printable(options.name, 60) + "\"",
                 "a line of 1 to 200 bytes", "choose a shorter name without control characters"});
  }
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(options.passphrase_file, "the signing key", PassphraseUse::kChoose));
  std::string root_passphrase = passphrase;
  if (!options.root_passphrase_file.empty()) {
    CALSEAL_ASSIGN(root_passphrase,
                   obtain_passphrase(options.root_passphrase_file, "the root", PassphraseUse::kChoose));
  }
  CALSEAL_ASSIGN(const PrivateKey root, PrivateKey::generate());
  CALSEAL_ASSIGN(const PrivateKey key, PrivateKey::generate());
  TrustFile trust;
  trust.shop = options.name;
  trust.root = root.public_key();
  trust.claimed_time = time_text(now);
  TrustedKey entry;
  entry.id = key.id();
  entry.public_key = key.public_key();
  entry.name = options.key_name;
  entry.roles = {Role::kAuthor};
  entry.valid_from = time_text(now);
  trust.keys.push_back(std::move(entry));
  NewShop shop;
  CALSEAL_ASSIGN(shop.trust, seal_trust_file(trust, root));
  CALSEAL_ASSIGN(shop.root_pem, root.encrypted_pem(root_passphrase));
  CALSEAL_ASSIGN(shop.key_pem, key.encrypted_pem(passphrase));
  shop.fingerprint = spoken_code(Spoken::kKey, root.id());
  shop.root_id = root.id();
  shop.key_id = key.id();
  wipe(passphrase);
  wipe(root_passphrase);
  return shop;
}

int run_new(const ShopNewOptions& options, const Console& console) {
  const Result<NewShop> shop = make_shop(options);
  if (!shop) return console.fail(shop.error());
  const std::string root = options.folder + "/root.key";
  const std::string key = options.folder + "/author.key";
  const std::string trust = options.folder + "/shop.trust";
  const Status status = write_files({{root, view_of(shop->root_pem), FileMode::kPrivate, Existing::kRefuse},
                                     {key, view_of(shop->key_pem), FileMode::kPrivate, Existing::kRefuse},
                                     {trust, view_of(shop->trust), FileMode::kPublic, Existing::kRefuse}});
  if (!status) {
    return console.fail(status.error());
  }
  console.print("made      " + printable(root) +
                "  (root: put it on a stick, take it offline, keep a second copy)\n" + "          " +
                printable(key) + "  (signs revisions)\n" + "          " + printable(trust) +
                "  (give this to customers)\n" + "root      " + shop->fingerprint + "\n" +
                "          read this code aloud to every customer once; he compares it with what "
                "check prints\n");
  console.print_json(json_object({{"calseal", json("shop-new/1")},
                                  {"root_key", json(printable(root, kShownPathLimit))},
                                  {"author_key", json(printable(key, kShownPathLimit))},
                                  {"trust", json(printable(trust, kShownPathLimit))},
                                  {"root_id", json(digest_text(shop->root_id))},
                                  {"author_id", json(digest_text(shop->key_id))},
                                  {"root_fingerprint", json(shop->fingerprint)}}));
  return 0;
}

}  // namespace

void add_shop_command(CommandLine& app, Console& console, int& status) {
  CommandLine* shop = app.add_subcommand("shop", "The shop's root and trust file");
  shop->require_subcommand();
  CommandLine* create = shop->add_subcommand("new", "Make root, first signing key and trust file in one go");
  auto options = std::make_shared<ShopNewOptions>();
  create->add_option("FOLDER", options->folder, "An existing folder; nothing in it is replaced")
      ->takes("FOLDER")
      ->required();
  create->add_option("--name", options->name, "The shop's name, as customers know it")
      ->takes("TEXT")
      ->required();
  create->add_option("--key-name", options->key_name, "Whose the signing key is")->takes("TEXT");
  create->add_option("--passphrase-file", options->passphrase_file, "First line: passphrase of the new keys")
      ->takes("FILE");
  create
      ->add_option("--root-passphrase-file", options->root_passphrase_file,
                   "First line: another passphrase for the root")
      ->takes("FILE");
  create
      ->add_option("--claimed-time", options->time,
                   "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  set_command(
      *create, console,
      {"calseal shop new keys --name \"Example Shop\"",
       "calseal shop new keys --name \"Example Shop\" --passphrase-file word.txt --json"},
      [options](Console& c) { return run_new(*options, c); }, status);
  for (const auto add :
       {add_shop_show_command, add_shop_add_key_command, add_shop_retire_key_command,
        add_shop_compromise_key_command, add_shop_threshold_command, add_shop_announce_root_command,
        add_shop_pin_head_command, add_shop_succeed_command}) {
    add(*shop, console, status);
  }
}

}  // namespace calseal
