// What commands take from the shop file (sign/shop_file.h) where their own options do not say it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/sign/shop_file.h"

namespace calseal {

// One option that a field of the shop file stands in for.
struct ShopDefault {
  const char* option;  // as in --help
  const char* field;   // its name in the file
  std::vector<std::string> (*in)(const Shop& shop);
  const char* unless = "";  // an option that leaves this one alone where it was typed
  bool alone = false;       // never one of those that belong together
  const char* with = "";    // an option before this one in the list, without which this one is of no use
  // Whether it is of use for the folder that the command works on; nothing: always.
  bool (*wanted)(const std::string& folder) = nullptr;
};
extern const ShopDefault kAuthorKeys, kWithdrawalKeys, kLedgerKey, kShopTrust, kShopWithdrawals, kListBefore,
    kShopRegions, kShopOptions, kShopStocks, kShopLedger, kShopJobLedger, kShopHeadKey;

// Whether those of these options that are not required belong together: a command may need all of them or do
// without any.
enum class Together : std::uint8_t { kEachAlone, kAllOrNone };

// How a command looks for its shop file, and takes from it.
struct ShopLook {
  std::string folder = "";  // the argument that names where the search begins; empty: the working folder
  Together together = Together::kEachAlone;
  // The shop file that this folder itself names, asked where none is found; nothing: it cannot name one.
  Result<std::optional<Shop>> (*kept)(const std::string& folder) = nullptr;
  std::string* used = nullptr;  // gets the path of the file, when something was taken from it
};

// --shop and --no-shop. Options that were required until now may then be left out where a shop file has them.
// Call it after them. The command's options are as if they had been typed.
void add_shop_option(CommandLine& command, const std::vector<ShopDefault>& defaults,
                     const ShopLook& look = {});

}  // namespace calseal
