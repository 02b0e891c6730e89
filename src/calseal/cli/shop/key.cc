#include "calseal/trust/key.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/passphrase.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/parcel/hpke.h"
#include "calseal/parcel/parcel_key.h"
#include "calseal/sign/parcel_secret.h"
#include "calseal/sign/private_key.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/trust_file.h"

namespace calseal {
namespace {

struct KeyOptions {
  std::string file, passphrase_file, purpose;
};

// A key as it is made: its two files, and its id.
struct NewKey {
  std::string private_pem, public_pem;
  KeyId id;
};

Result<NewKey> make_key(bool for_parcels, const std::string& passphrase) {
  NewKey made;
  if (!for_parcels) {
    CALSEAL_ASSIGN(const PrivateKey key, PrivateKey::generate());
    CALSEAL_ASSIGN(made.private_pem, key.encrypted_pem(passphrase));
    made.public_pem = public_key_pem(key.public_key());
    made.id = key.id();
    return made;
  }
  const std::optional<ParcelSecret> secret = new_parcel_secret();
  const std::optional<ParcelKey> key = secret ? public_of(*secret) : std::nullopt;
  if (!key)
    return fail({Reason::kInternal, "", "parcel key", "a failure of libcrypto", "a key", "try again"});
  CALSEAL_ASSIGN(made.private_pem, encrypted_parcel_pem(secret->bytes, passphrase));
  made.public_pem = parcel_key_pem(*key);
  made.id = parcel_key_id(*key);
  return made;
}

// One key as shown: what it is, and how to name it aloud.
struct ShownKey {
  std::string what, name, id, fingerprint;
};

ShownKey shown(std::string what, std::string name, const KeyId& id) {
  return {std::move(what), std::move(name), digest_text(id), spoken_code(Spoken::kKey, id)};
}

int print_keys(const Console& console, const std::string& kind, const std::vector<ShownKey>& keys) {
  for (const ShownKey& key : keys) {
    console.print(key.what + (key.name.empty() ? "" : "  " + printable(key.name)) + "\n  id           " +
                  key.id + "\n  fingerprint  " + key.fingerprint + "\n");
  }
  console.print_json(json_object({{"calseal", json(kind)}, {"keys", json_array(keys, [](const ShownKey& key) {
                                                              return json_object(
                                                                  {{"what", json(key.what)},
                                                                   {"name", json(key.name)},
                                                                   {"id", json(key.id)},
                                                                   {"fingerprint", json(key.fingerprint)}});
                                                            })}}));
  return 0;
}

Result<int> run_new(const KeyOptions& options, const Console& console) {
  const bool for_parcels = options.purpose == "parcels";
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(options.passphrase_file, "the new key", PassphraseUse::kChoose));
  const Result<NewKey> made = make_key(for_parcels, passphrase);
  wipe(passphrase);
  if (!made) return fail(made.error());
  CALSEAL_CHECK(write_files(
      {{options.file, view_of(made->private_pem), FileMode::kPrivate, Existing::kRefuse},
       {options.file + ".pub", view_of(made->public_pem), FileMode::kPublic, Existing::kRefuse}}));
  console.print("made  " + printable(options.file) + "  (private, under its passphrase)\n      " +
                printable(options.file) + ".pub  (public: " +
                (for_parcels ? "calseal sheet make --parcel-key names it in the sheet"
                             : "the root puts it into the trust file") +
                ")\n");
  return print_keys(console, "key-new/1", {shown("key", "", made->id)});
}

Result<std::vector<ShownKey>> keys_in(const KeyOptions& options) {
  const std::string name = printable(options.file);
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.file, kTrustFileSizeLimit));
  std::vector<ShownKey> keys;
  if (text_of(bytes).starts_with(kTrustLiteral)) {
    CALSEAL_ASSIGN(const TrustFile trust, parse_trust_file(bytes, "", name));
    keys.push_back(shown("root", trust.shop, compute_key_id(trust.root)));
    for (const TrustedKey& key : trust.keys) {
      keys.push_back(shown(key.compromised ? "signing key, compromised" : "signing key", key.name, key.id));
    }
    return keys;
  }
  if (text_of(bytes).starts_with("-----BEGIN PUBLIC KEY-----")) {
    CALSEAL_ASSIGN(const PublicKey key, parse_public_key_pem(bytes, name));
    keys.push_back(shown("public key", "", compute_key_id(key)));
    return keys;
  }
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(options.passphrase_file, "the key", PassphraseUse::kOpen));
  CALSEAL_ASSIGN(const PrivateKey key, read_private_key(options.file, passphrase));
  wipe(passphrase);
  keys.push_back(shown("private key", "", key.id()));
  return keys;
}

int run_show(const KeyOptions& options, const Console& console) {
  const auto keys = keys_in(options);
  if (!keys) return console.fail(keys.error());
  return print_keys(console, "key-show/1", *keys);
}

}  // namespace

void add_key_command(CommandLine& app, Console& console, int& status) {
  CommandLine* key = app.add_subcommand("key", "Signing keys");
  key->require_subcommand();
  auto options = std::make_shared<KeyOptions>();
  CommandLine* create =
      key->add_subcommand("new", "Make a signing key: FILE (private, mode 0600) and FILE.pub");
  CommandLine* show =
      key->add_subcommand("show", "Id and fingerprint of the keys in a key file or trust file");
  for (CommandLine* command : {create, show}) {
    command->add_option("FILE", options->file, "Key file, or trust file to show")->takes("FILE")->required();
    command->add_option("--passphrase-file", options->passphrase_file, "First line: the passphrase")
        ->takes("FILE");
  }
  create
      ->add_option("--for", options->purpose,
                   "What it is for (default: signing): parcels makes the key that opens closed parcels")
      ->one_of({"signing", "parcels"});
  set_command(
      *create, console, {"calseal key new keys/second.key", "calseal key new keys/parcel.key --for parcels"},
      [options](Console& c) { return run_new(*options, c); }, status);
  set_command(
      *show, console, {"calseal key show shop.trust", "calseal key show keys/second.key.pub"},
      [options](Console& c) { return run_show(*options, c); }, status);
}

}  // namespace calseal
