#include "calseal/cli/shop/shop_defaults.h"

#include <algorithm>
#include <cstdlib>
#include <memory>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

std::vector<std::string> one(const std::string& path) {
  return path.empty() ? std::vector<std::string>() : std::vector{path};
}

// An option of the command, and what stands in for it.
struct Filled {
  ShopDefault by;
  Argument* argument;
  bool required;
  bool is_there() const { return !argument->given().empty(); }
};

// Fills the options of one command, when it was chosen.
class ShopDefaults {
 public:
  std::vector<Filled> options;
  Argument* folder = nullptr;
  Together together = Together::kEachAlone;
  std::string stated;
  bool none = false;

  Status fill(const Console& console) {
    const bool all = std::all_of(options.begin(), options.end(), [](const auto& o) { return o.is_there(); });
    if (all && stated.empty()) return {};
    std::optional<Shop> shop;
    if (!none) {
      CALSEAL_ASSIGN(shop, find());
    }
    if (shop && take(*shop)) console.tell_source("shop", printable(shop->file, kShownPathLimit));
    return require(shop ? &*shop : nullptr);
  }

 private:
  Result<std::optional<Shop>> find() const {
    ShopSearch search{stated, "", ""};
    if (const char* path = std::getenv("CALSEAL_SHOP"); path != nullptr) search.environment = path;
    if (folder != nullptr && !folder->given().empty()) search.from = folder->given().front();
    return find_shop(search);
  }

  bool take(const Shop& shop) {
    bool taken = false;
    bool its_trust = true;
    for (const Filled& option : options) {
      if (option.is_there()) {
        if (option.by.in == kShopTrust.in) its_trust = false;
        continue;
      }
      const std::vector<std::string> values = option.by.in(shop);
      if (values.empty() || (option.by.under_its_trust && !its_trust)) continue;
      option.argument->give(values);
      taken = true;
    }
    return taken;
  }

  Status require(const Shop* shop) const {
    const bool any = std::any_of(options.begin(), options.end(), [](const auto& o) { return o.is_there(); });
    std::string missing, fields;
    for (const Filled& option : options) {
      if (option.is_there() || !(option.required || (any && together == Together::kAllOrNone))) continue;
      missing += (missing.empty() ? "" : " and ") + std::string(option.by.option);
      fields += (fields.empty() ? "" : " and ") + std::string(option.by.field);
    }
    if (missing.empty()) return {};
    return fail(usage_error(missing,
                            shop != nullptr ? "not given, and not in " + printable(shop->file)
                            : none          ? "not given"
                                            : "not given, and no shop file found",
                            "the option, or a shop file that names " + fields,
                            "give " + missing +
                                ", or put shop.json above the folder you work in (calseal shop new makes it; "
                                "docs/shop.md)"));
  }
};

}  // namespace

const ShopDefault kAuthorKeys{"--key", "author_keys", [](const Shop& shop) { return shop.author_keys; }};
const ShopDefault kWithdrawalKeys{"--key", "withdrawal_keys",
                                  [](const Shop& shop) { return shop.withdrawal_keys; }};
const ShopDefault kShopTrust{"--trust", "trust", [](const Shop& shop) { return one(shop.trust); }};
const ShopDefault kShopWithdrawals{"--withdrawals", "withdrawals",
                                   [](const Shop& shop) { return one(shop.withdrawals); }, true};

void add_shop_option(CommandLine& command, const std::vector<ShopDefault>& defaults,
                     const std::string& folder, Together together) {
  auto shop = std::make_shared<ShopDefaults>();
  shop->together = together;
  if (!folder.empty()) shop->folder = command.argument(folder);
  std::string names;
  for (const ShopDefault& one : defaults) {
    Argument* argument = command.argument(one.option);
    shop->options.push_back({one, argument, argument->is_required()});
    argument->required(false);
    names += (names.empty() ? "" : ", ") + std::string(one.option);
  }
  command
      .add_option("--shop", shop->stated,
                  "Shop file that stands in for " + names +
                      " (default: CALSEAL_SHOP, else shop.json in the folder or above)")
      ->excludes(command.add_flag("--no-shop", shop->none, "Use no shop file"));
  command.before_run([shop](const Console& console) { return shop->fill(console); });
}

}  // namespace calseal
