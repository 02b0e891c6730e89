// A shop from nothing: its root, an author's key, a withdrawal key, and the files that say so. It can seal,
// and take back what it sealed, without the root.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/file.h"
#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/trust/key.h"

namespace calseal {

struct ShopFounding {
  std::string name, author;  // lines
  UtcTime now;
  const std::string& passphrase;  // of the two signing keys
  const std::string& root_passphrase;
};

struct NewShopFile {
  std::string name, text;
  FileMode mode = FileMode::kPublic;
  std::string purpose = "";  // in a few words, for people; "" for what speaks for itself
};

struct NewShop {
  KeyId root, author, withdrawal;
  std::vector<NewShopFile> files;  // all for one folder
};

// Draws the keys and signs a first trust file and an empty list of withdrawals. kPassphraseMissing,
// kInternal.
Result<NewShop> new_shop(const ShopFounding& founding);

}  // namespace calseal
