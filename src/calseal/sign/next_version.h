// Signed files that are replaced by their next version and keep their name: the trust file, the list of
// withdrawals. So whoever gives out the newest one always gives out the file of that name.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/file.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

// What stands under the name until now.
struct VersionBefore {
  std::uint64_t number = 1;
  Sha256 root;  // key id: numbers begin again under another one
  ByteView bytes;
};

// Where the next version goes: under the name of the one before, or elsewhere, where nothing may stand yet.
struct VersionPlace {
  std::string path;
  std::string elsewhere = "";  // "" for nowhere else

  const std::string& chosen() const { return elsewhere.empty() ? path : elsewhere; }
};

// Puts `before` aside as NAME-v<number>.EXT in the same folder, and `next` in its place; `more` files are
// written with them. All or nothing; a kill in between leaves the version before under both names, and the
// same run again succeeds. Gives back the name of the one put aside: "" for a version that went elsewhere.
// kOutputExists when another version than `before` stands there now, or another file under the name to put it
// aside.
Result<std::string> write_next_version(const VersionPlace& place, const VersionBefore& before, ByteView next,
                                       std::vector<PendingFile> more = {});

}  // namespace calseal
