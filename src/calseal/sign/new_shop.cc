#include "calseal/sign/new_shop.h"

#include "calseal/sign/private_key.h"
#include "calseal/sign/shop_file.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/sign/trust_change.h"
#include "calseal/sign/withdraw.h"

namespace calseal {
namespace {

constexpr std::int64_t kListFreshFor = std::int64_t{90} * 86400;  // seconds

TrustedKey trusted(const PrivateKey& key, const std::string& name, Role role, const std::string& from) {
  TrustedKey entry;
  entry.public_key = key.public_key();
  entry.name = name;
  entry.roles = {role};
  entry.valid_from = from;
  return entry;
}

// Where everything lies that new_shop() makes, and where the folders go that are made when they are needed.
std::string shop_file_of(const std::string& name) {
  Shop shop;
  shop.name = name;
  shop.author_keys = {"author.key"};
  shop.trust = "shop.trust";
  shop.withdrawal_keys = {"withdrawal.key"};
  shop.regions = {"regions"};
  shop.stocks = "stocks";
  shop.options = "options";
  shop.withdrawals = "withdrawn.list";
  return write_shop(shop);
}

}  // namespace

Result<NewShop> new_shop(const ShopFounding& founding) {
  CALSEAL_ASSIGN(const PrivateKey root, PrivateKey::generate());
  CALSEAL_ASSIGN(const PrivateKey author, PrivateKey::generate());
  CALSEAL_ASSIGN(const PrivateKey withdrawal, PrivateKey::generate());
  TrustFile trust;
  trust.shop = founding.name;
  trust.root = root.public_key();
  trust.claimed_time = time_text(founding.now);
  CALSEAL_CHECK(add_key(trust, trusted(author, founding.author, Role::kAuthor, trust.claimed_time)));
  CALSEAL_CHECK(add_key(trust, trusted(withdrawal, "withdrawal key", Role::kWithdrawal, trust.claimed_time)));
  const std::string fresh_until = time_text({founding.now.seconds + kListFreshFor});
  CALSEAL_ASSIGN(const WithdrawalList nothing,
                 next_withdrawals(std::nullopt, {}, root.id(), trust.claimed_time, fresh_until));
  CALSEAL_ASSIGN(const std::string list, seal_withdrawals(nothing, {withdrawal}, trust));
  CALSEAL_ASSIGN(const std::string trust_text, seal_trust_file(trust, root));
  CALSEAL_ASSIGN(const std::string root_pem, root.encrypted_pem(founding.root_passphrase));
  CALSEAL_ASSIGN(const std::string author_pem, author.encrypted_pem(founding.passphrase));
  CALSEAL_ASSIGN(const std::string withdrawal_pem, withdrawal.encrypted_pem(founding.passphrase));
  constexpr auto kPrivate = FileMode::kPrivate;
  constexpr auto kPublic = FileMode::kPublic;
  NewShop shop{root.id(), author.id(), withdrawal.id(), {}};
  shop.files = {
      {"root.key", root_pem, kPrivate, "root: put it on a stick, take it offline, keep a second copy"},
      {"author.key", author_pem, kPrivate, "signs revisions; its public key is author.key.pub"},
      {"author.key.pub", public_key_pem(author.public_key()), kPublic},
      {"withdrawal.key", withdrawal_pem, kPrivate,
       "takes revisions back; keep a copy where you can reach it"},
      {"withdrawal.key.pub", public_key_pem(withdrawal.public_key()), kPublic},
      {"shop.trust", trust_text, kPublic, "give this to customers"},
      {"withdrawn.list", list, kPublic, "what is withdrawn: nothing yet; give this to customers too"},
      // Others must not be able to write to it, whatever the umask allows.
      {std::string(kShopFileName), shop_file_of(founding.name), kPrivate,
       "says where all this is: in this folder and below it --key and --trust can be left out"},
  };
  return shop;
}

}  // namespace calseal
