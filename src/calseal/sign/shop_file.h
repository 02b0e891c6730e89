// The shop file: what the shop's commands take where their own options do not say it. It names keys, trust
// file and folders by their paths, and holds no secret.
//
// Whoever writes it chooses the trust file that the shop's own checks believe. So it is used only where
// nobody else could have changed it, and a command says which one it used. docs/shop.md.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kShopFileName = "shop.json";
inline constexpr std::uint64_t kShopFileLimit = 65536;  // bytes
inline constexpr std::size_t kShopPathLimit = 4096;     // bytes
inline constexpr std::size_t kShopListLimit = 64;       // paths in one list

struct Shop {
  std::string file;  // where it stands, links resolved; no part of its text
  std::string name;  // line
  std::vector<std::string> author_keys;
  std::string trust;
  std::vector<std::string> withdrawal_keys;
  std::string ledger_key;            // these and the following: "" for none
  std::vector<std::string> regions;  // folders of region maps, or region maps
  std::string stocks;
  std::string ledger;
  std::string options;
  std::string withdrawals;  // the newest list
  std::string parcel_key;   // the private key that opens closed parcels
};

// The fields as they stand in the text: paths as they were written there.
void shop_fields(Fields& field, Shop& shop);

// The text of one, a line for each field, so that a person can go on from there.
std::string write_shop(const Shop& shop);

// Reads one; relative paths are then below the folder that it stands in. kShopFileForeign when another user
// than this one or root owns the file or its folder, or others may write there: nothing is read then.
Result<Shop> read_shop(const std::string& path);

// kShopFileForeign unless this user or root owns the file and its folder and others may not write to them:
// only then does it count what a file of ours says about where the shop file is.
Status require_own_word(const std::string& path);

// The shop file in a folder, which need not exist yet, or in the nearest one above; nothing: there is none.
std::optional<std::string> nearest_shop_file(const std::string& from);

// Where to look for it; the first of the three that is there decides.
struct ShopSearch {
  std::string stated;       // a path that was given, or ""
  std::string environment;  // a path from the environment, or ""
  std::string from;  // a folder, which need not exist yet: there and in all folders above, nearest first
};

// Nothing when only folders were searched, and none has one. A file that is found is never passed over:
// whatever is wrong with it is the answer.
Result<std::optional<Shop>> find_shop(const ShopSearch& search);

}  // namespace calseal
