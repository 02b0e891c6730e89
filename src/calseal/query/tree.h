// The regular files below a folder, with what tells that one has changed.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

struct TreeFile {
  std::string path;  // within the folder, bytes as the file system has them
  std::int64_t size = 0, modified = 0, changed = 0, inode = 0;  // times in nanoseconds
};

struct Tree {
  std::vector<TreeFile> files;
  std::vector<std::string> unreadable;  // folders
};

// No link is followed. Names that begin with `skip` are left out. kFileMissing, kFileUnreadable (not a
// folder, or one that cannot be read).
Result<Tree> list_tree(const std::string& folder, const std::string& skip);

}  // namespace calseal
