// What stands in a folder that a person named.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

struct FolderListing {
  std::string what;       // for errors: "a folder of region maps"
  std::string give;       // what to do when there is no such folder
  std::string extension;  // only entries with it, as ".json"; empty: all
  std::size_t limit = 0;
  std::string entries;  // for errors: "files"
  std::string fewer;    // what to do about too many
};

// The entries of the folder itself, by path. kFileMissing, kFileUnreadable, kFileTooLarge (more than the
// limit).
Result<std::vector<std::filesystem::path>> folder_entries(const std::string& folder,
                                                          const FolderListing& listing);

}  // namespace calseal
