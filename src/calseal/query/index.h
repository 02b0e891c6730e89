// The index of an archive: an SQLite file beside it that makes questions fast.
//
// It is never the source of truth. It holds what bundles claim, each under the size, the times and the inode
// of its file; whoever opens it has every file that is new, gone or changed noticed and read again first. An
// index that is damaged, of another version or of another archive is made anew; where none can be written,
// one in memory serves. A file that could not be read is not in it, and so is tried again every time.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/query/database.h"

namespace calseal {

inline constexpr std::string_view kIndexName = ".calseal-index";

struct IndexOptions {
  bool rebuild = false;  // throw away what is there
  // Called now and then while files are read: how many of how many.
  std::function<void(std::uint64_t, std::uint64_t)> progress;
  // For an index that another program holds; after it a new one is made in its place.
  std::chrono::milliseconds wait = kLockWait;
};

// A file that begins like a bundle and cannot be indexed, or what could not be read or looked at: there may
// be bundles among it.
struct UnreadFile {
  std::string path;    // within the archive
  std::string reason;  // code
};

struct Index {
  std::string folder;  // the archive
  std::unique_ptr<Database> database;
  std::uint64_t bundles = 0;       // files in it
  std::uint64_t read = 0;          // files that were new or changed, and so were read now
  std::uint64_t gone = 0;          // files that are there no more
  bool rebuilt = false;            // nothing of an older index was used
  bool kept = false;               // false: in memory only, since no file could be written
  std::string built;               // time of the last reading
  std::vector<UnreadFile> unread;  // ascending by path
};

// Opens the index of a folder and brings it up to date. Links are not followed. kFileMissing,
// kFileUnreadable for the folder itself.
Result<Index> open_index(const std::string& folder, const IndexOptions& options);

}  // namespace calseal
