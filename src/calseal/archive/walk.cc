#include "calseal/archive/walk.h"

#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <memory>

#include "calseal/base/text.h"
#include "calseal/digest/sha256.h"

namespace calseal {
namespace {

constexpr std::int64_t kNanoseconds = 1'000'000'000;

struct CloseFolder {
  void operator()(DIR* folder) const { ::closedir(folder); }
};
using Folder = std::unique_ptr<DIR, CloseFolder>;

Folder open_folder(const std::string& path, int extra) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC | extra);
  if (fd < 0) return nullptr;
  DIR* const folder = ::fdopendir(fd);
  if (folder == nullptr) {
    const int error = errno;
    ::close(fd);
    errno = error;
  }
  return Folder(folder);
}

FileStatus described(const struct stat& status) {
  return {static_cast<std::int64_t>(status.st_size),
          status.st_mtim.tv_sec * kNanoseconds + status.st_mtim.tv_nsec,
          status.st_ctim.tv_sec * kNanoseconds + status.st_ctim.tv_nsec,
          static_cast<std::int64_t>(status.st_ino)};
}

std::string path_within(const std::string& folder, std::string_view name) {
  return folder.empty() ? std::string(name) : folder + "/" + std::string(name);
}

void note_unseen(Tree& tree, const std::string& path, int error) {
  tree.unreadable.push_back({path.empty() ? "." : path, std::strerror(error)});
}

// Takes down one name of the open folder `within`; folders wait.
void list_name(DIR* folder, const std::string& within, const char* name, Tree& tree,
               std::vector<std::string>& waiting) {
  std::string path = path_within(within, name);
  struct stat status {};
  if (::fstatat(::dirfd(folder), name, &status, AT_SYMLINK_NOFOLLOW) != 0) {
    // What is there no more was taken away since the folder was opened.
    if (errno != ENOENT) note_unseen(tree, path, errno);
  } else if (S_ISDIR(status.st_mode)) {
    waiting.push_back(std::move(path));
  } else if (S_ISREG(status.st_mode)) {
    tree.files.push_back({described(status), std::move(path)});
  } else {
    (S_ISLNK(status.st_mode) ? tree.links : tree.others).push_back(std::move(path));
  }
}

void list_names(DIR* folder, const std::string& within, Tree& tree, std::vector<std::string>& waiting) {
  for (;;) {
    errno = 0;  // readdir() tells an error from the end by this alone
    const dirent* const entry = ::readdir(folder);
    if (entry == nullptr) break;
    const std::string_view name = entry->d_name;
    if (name == "." || name == ".." || name.starts_with(kOwnNamePrefix)) continue;
    list_name(folder, within, entry->d_name, tree, waiting);
  }
  if (errno != 0) note_unseen(tree, within, errno);
}

}  // namespace

Result<Tree> list_tree(const std::string& folder) {
  Tree tree;
  std::vector<std::string> waiting{""};
  while (!waiting.empty()) {
    const std::string within = std::move(waiting.back());
    waiting.pop_back();
    const Folder open = open_folder(folder + "/" + within, within.empty() ? 0 : O_NOFOLLOW);
    if (open == nullptr && within.empty()) {
      const int error = errno;
      return fail({error == ENOENT ? Reason::kFileMissing : Reason::kFileUnreadable, printable(folder), "",
                   std::strerror(error), "the folder of an archive",
                   "name the folder that holds the bundles"});
    }
    if (open == nullptr) {
      note_unseen(tree, within, errno);
      continue;
    }
    list_names(open.get(), within, tree, waiting);
  }
  std::ranges::sort(tree.files, {}, &TreeFile::path);
  std::ranges::sort(tree.unreadable);
  std::ranges::sort(tree.links);
  std::ranges::sort(tree.others);
  return tree;
}

std::optional<FileStatus> look_at_file(const std::string& place) {
  struct stat status {};
  if (::lstat(place.c_str(), &status) != 0 || !S_ISREG(status.st_mode)) return std::nullopt;
  return described(status);
}

std::uint64_t part_of_name(std::string_view name, std::uint64_t of) {
  const Sha256 digest = compute_sha256(view_of(name));
  std::uint64_t number = 0;
  for (std::size_t i = 0; i < 8; ++i) number = number << 8 | digest.bytes[i];
  return number % of + 1;
}

}  // namespace calseal
