#include "calseal/job/layout.h"

#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <filesystem>

#include "calseal/base/interrupt.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

tl::unexpected<Error> not_made(const std::string& folder, const std::string& step, int error) {
  return fail({Reason::kWriteFailed, printable(folder), step, std::strerror(error), "a new folder",
               error == ENOSPC ? "free some space and run the command again"
                               : "choose a place that you may write to"});
}

// A folder that is removed with all it holds unless it was given its final name.
class HiddenFolder {
 public:
  explicit HiddenFolder(std::string path) : path_(std::move(path)) {}
  HiddenFolder(const HiddenFolder&) = delete;
  HiddenFolder& operator=(const HiddenFolder&) = delete;
  ~HiddenFolder() {
    std::error_code ignored;
    if (!path_.empty()) std::filesystem::remove_all(path_, ignored);
  }
  const std::string& path() const { return path_; }
  void keep() { path_.clear(); }

 private:
  std::string path_;
};

void sync_path(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return;
  ::fsync(fd);
  ::close(fd);
}

tl::unexpected<Error> taken(const std::string& folder) {
  return fail({Reason::kOutputExists, printable(folder), "", "something of that name", "no such folder yet",
               "choose another name, or go on with the job that is there"});
}

}  // namespace

std::string base_folder(std::uint64_t base) { return "base-" + std::to_string(base); }

std::string mended_map_file(std::uint64_t base, std::uint64_t version) {
  return base_folder(base) + "/regions-v" + std::to_string(version) + ".json";
}

std::optional<std::uint64_t> version_of_mended_map(std::uint64_t base, std::string_view file) {
  const std::string before = base_folder(base) + "/regions-v";
  constexpr std::string_view kEnd = ".json";
  if (!file.starts_with(before) || !file.ends_with(kEnd)) return std::nullopt;
  std::uint64_t version = 0;
  const char* const begin = file.data() + before.size();
  if (std::from_chars(begin, file.data() + file.size(), version).ec != std::errc() ||
      mended_map_file(base, version) != file)
    return std::nullopt;
  return version;
}

std::optional<std::uint64_t> base_of_folder(std::string_view name) {
  if (!name.starts_with("base-") || name.size() > 12) return std::nullopt;
  std::uint64_t number = 0;
  for (const char c : name.substr(5)) {
    if (c < '0' || c > '9') return std::nullopt;
    number = number * 10 + static_cast<std::uint64_t>(c - '0');
  }
  if (number == 0 || number > kBaseLimit || base_folder(number) != name) return std::nullopt;
  return number;
}

std::string bundle_file(std::uint64_t base, std::uint64_t revision, std::uint64_t full_sequence) {
  std::string name = base_folder(base) + "/r" + std::to_string(revision);
  if (full_sequence != 0) name += "-full-" + std::to_string(full_sequence);
  return name + ".calseal";
}

void name_memories(const Read& read, std::vector<ReadFile>& files) {
  for (std::size_t i = 0; i < files.size(); ++i) files[i].memory = read.sources[i].memory;
}

std::string read_file_name(const std::vector<ReadFile>& files, std::size_t index) {
  const ReadFile& file = files[index];
  const std::string extension = std::filesystem::path(file.name).extension().string();
  const bool plain =
      extension.size() > 1 && extension.size() <= 9 && std::ranges::all_of(extension.substr(1), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
      });
  std::string stem = file.memory.empty() ? std::string(kNoMemory) : file.memory;
  const auto before = std::count_if(files.begin(), files.begin() + static_cast<std::ptrdiff_t>(index),
                                    [&](const ReadFile& other) { return other.memory == file.memory; });
  if (before > 0) stem += "-" + std::to_string(before + 1);
  return stem + (plain ? extension : ".bin");
}

Result<std::vector<std::string>> names_in(const std::string& folder) {
  std::vector<std::string> names;
  std::error_code error;
  std::filesystem::directory_iterator at(folder, error);
  if (error == std::errc::no_such_file_or_directory) return names;
  for (const std::filesystem::directory_iterator end; !error && at != end && names.size() <= kFolderNameLimit;
       at.increment(error))
    names.push_back(at->path().filename().string());
  if (error || names.size() > kFolderNameLimit) {
    return fail({Reason::kFileUnreadable, printable(folder), "",
                 error ? error.message() : "more than " + grouped(kFolderNameLimit) + " names",
                 "a folder whose names can all be read",
                 "check the disk and the permissions, then try again"});
  }
  std::ranges::sort(names);
  return names;
}

bool exists(const std::string& path) {
  struct stat status {};
  return ::lstat(path.c_str(), &status) == 0;
}

Result<std::vector<ReadFile>> load_kept_read(const std::string& folder, std::uint64_t base) {
  const std::string place = folder + "/" + base_folder(base) + "/read";
  std::vector<ReadFile> files;
  CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(place));
  for (const std::string& name : names) {
    if (name.starts_with('.')) continue;
    CALSEAL_ASSIGN(Bytes bytes, read_file(place + "/" + name, kReadFileLimit));
    const std::string stem = name.substr(0, name.find('.'));
    files.push_back(
        {stem.starts_with(kNoMemory) ? "" : stem, printable(place + "/" + name), std::move(bytes)});
  }
  if (files.empty()) {
    return fail({Reason::kJobDamaged, printable(place), "", "no file of the read",
                 "the read as it was received", "put the read back; revision 0 of this base holds it too"});
  }
  return files;
}

Status make_folder(const std::string& folder, const std::vector<std::string>& subfolders,
                   const std::vector<NewFile>& files) {
  std::string final_name = folder;
  while (final_name.size() > 1 && final_name.ends_with('/')) final_name.pop_back();
  if (exists(final_name)) return taken(folder);
  const std::filesystem::path path(final_name);
  const std::string parent = path.has_parent_path() ? path.parent_path().string() : ".";
  // An audit passes over such names, so what a killed writer leaves is no job.
  std::string hidden = parent + "/.calseal-" + path.filename().string() + ".XXXXXX";
  const NoInterruption making;
  if (::mkdtemp(hidden.data()) == nullptr) return not_made(folder, "create", errno);
  HiddenFolder made(hidden);
  const mode_t mask = ::umask(0);
  ::umask(mask);
  if (::chmod(hidden.c_str(), 0777 & ~mask) != 0) return not_made(folder, "set permissions", errno);
  for (const std::string& subfolder : subfolders) {
    if (::mkdir((hidden + "/" + subfolder).c_str(), 0777) != 0) return not_made(folder, "create", errno);
  }
  std::vector<PendingFile> pending;
  for (const NewFile& file : files) pending.push_back({hidden + "/" + file.path, file.bytes, file.mode});
  if (Status status = write_files(pending); !status) {
    Error error = status.error();
    error.file = printable(folder);
    return fail(std::move(error));
  }
  if (::renameat2(AT_FDCWD, hidden.c_str(), AT_FDCWD, final_name.c_str(), RENAME_NOREPLACE) != 0) {
    if (errno == EEXIST) return taken(folder);
    // A file system without that call: the name was free a moment ago, and rename() replaces no folder with
    // something in it.
    if (::rename(hidden.c_str(), final_name.c_str()) != 0)
      return errno == ENOTEMPTY ? taken(folder) : Status(not_made(folder, "rename", errno));
  }
  made.keep();
  note_written(final_name);
  sync_path(parent);
  return {};
}

}  // namespace calseal
