#include <filesystem>

#include "calseal/cli/shop/shop_defaults.h"

namespace calseal {
namespace {

std::vector<std::string> one(const std::string& path) {
  return path.empty() ? std::vector<std::string>() : std::vector{path};
}

// A shop's folder may be made when there is something to put into it.
std::vector<std::string> made(std::vector<std::string> paths) {
  std::erase_if(paths, [](const std::string& path) {
    std::error_code error;
    return !std::filesystem::exists(path, error) && !error;
  });
  return paths;
}

}  // namespace

const ShopDefault kAuthorKeys{"--key", "author_keys", [](const Shop& shop) { return shop.author_keys; }};
const ShopDefault kWithdrawalKeys{"--key", "withdrawal_keys",
                                  [](const Shop& shop) { return shop.withdrawal_keys; }};
const ShopDefault kShopTrust{"--trust", "trust", [](const Shop& shop) { return one(shop.trust); }};
// A list counts under its own trust file alone.
const ShopDefault kShopWithdrawals{"--withdrawals", "withdrawals",
                                   [](const Shop& shop) { return one(shop.withdrawals); }, "--trust"};
const ShopDefault kListBefore{"--after", "withdrawals",
                              [](const Shop& shop) { return one(shop.withdrawals); }, "--trust"};
const ShopDefault kLedgerKey{"--key", "ledger_key", [](const Shop& shop) { return one(shop.ledger_key); }};
const ShopDefault kShopLedger{"LEDGER", "ledger", [](const Shop& shop) { return one(shop.ledger); }};
const ShopDefault kShopRegions{"--regions", "regions", [](const Shop& shop) { return made(shop.regions); }};
const ShopDefault kShopOptions{"--option-folder", "options",
                               [](const Shop& shop) { return made(one(shop.options)); }, "", true};
const ShopDefault kShopStocks{"--known", "stocks", [](const Shop& shop) { return made(one(shop.stocks)); }};
const ShopDefault kShopJobLedger{"--ledger", "ledger",
                                 [](const Shop& shop) { return made(one(shop.ledger)); }, "", true};
const ShopDefault kShopHeadKey{"--ledger-key", "ledger_key",
                               [](const Shop& shop) { return one(shop.ledger_key); }, "", true};

}  // namespace calseal
