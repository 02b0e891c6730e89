// The files below a folder, whatever its shape, in one order on every machine.
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

// Names that begin with this are calseal's own helps beside an archive (the index, what healing put aside,
// files and folders that a killed writer had not finished); they are no part of it.
inline constexpr std::string_view kOwnNamePrefix = ".calseal-";

// What tells that a file has changed.
struct FileStatus {
  std::int64_t size = 0, modified = 0, changed = 0, inode = 0;  // times in nanoseconds
  friend bool operator==(const FileStatus&, const FileStatus&) = default;
};

// A regular file.
struct TreeFile : FileStatus {
  std::string path;  // within the folder, bytes as the file system has them
};

// A regular file as it is now; nothing where there is none (a link is none).
std::optional<FileStatus> look_at_file(const std::string& place);

// A folder that could not be read to its end, or a name that could not be looked at.
struct UnseenPlace {
  std::string path;   // "." for the folder itself
  std::string cause;  // as the system says it
  friend auto operator<=>(const UnseenPlace&, const UnseenPlace&) = default;
};

struct Tree {
  std::vector<TreeFile> files;          // ascending by path, byte by byte
  std::vector<UnseenPlace> unreadable;  // ascending; what lies there is not in the other lists
  // Symbolic links (none is followed), and what is neither file nor folder; ascending.
  std::vector<std::string> links, others;
};

// The folder itself may be named through a link; below it no link is followed, so nothing is met twice and
// nothing outside is read. kFileMissing, kFileUnreadable (not a folder, or one that cannot be read).
Result<Tree> list_tree(const std::string& folder);

// One of `of` equal shares of a tree's files.
struct Part {
  std::uint64_t number = 1;  // from 1 to `of`
  std::uint64_t of = 1;
  friend bool operator==(const Part&, const Part&) = default;
};
inline constexpr std::uint64_t kPartLimit = 4096;

// Which share something with this name belongs to: by the first eight bytes of the name's SHA-256, so it is
// the same on every machine and in every run. From 1 to `of`.
std::uint64_t part_of_name(std::string_view name, std::uint64_t of);

}  // namespace calseal
