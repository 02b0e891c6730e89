#include "calseal/base/file.h"

#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <optional>
#include <utility>

#include "calseal/base/interrupt.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

class Descriptor {
 public:
  explicit Descriptor(int fd = -1) : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
  }
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  int get() const { return fd_; }
  bool is_open() const { return fd_ >= 0; }
  // The close that tells about late write errors.
  bool close() { return ::close(std::exchange(fd_, -1)) == 0; }

 private:
  int fd_;
};

std::string system_text(int error) { return std::strerror(error); }

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  if (slash == std::string::npos) return ".";
  return slash == 0 ? "/" : path.substr(0, slash);
}

std::string name_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

tl::unexpected<Error> write_failed(const std::string& path, const std::string& step, int error) {
  std::string next = "choose another place to write to";
  if (error == ENOSPC || error == EDQUOT || error == EFBIG)
    next = "free some space and run the command again";
  if (error == EACCES || error == EROFS || error == EPERM) next = "choose a folder that you may write to";
  if (error == ENOENT) next = "create the folder first";
  return fail({Reason::kWriteFailed, path, step, system_text(error), "the file written whole", next});
}

bool exists(const std::string& path) {
  struct stat status {};
  return ::lstat(path.c_str(), &status) == 0;
}

// A file on its way: whole and synced under a name of its own, or gone.
class Staged {
 public:
  explicit Staged(std::string path) : path_(std::move(path)) {}
  Staged(Staged&& other) noexcept
      : path_(std::move(other.path_)),
        temporary_(std::exchange(other.temporary_, std::string())),
        unfinished_(std::move(other.unfinished_)) {}
  Staged& operator=(Staged&&) = delete;
  ~Staged() {
    if (!temporary_.empty()) ::unlink(temporary_.c_str());
  }

  Status stage(const PendingFile& pending) {
    CALSEAL_CHECK(refuse_what_is_no_file());
    // An audit passes over such names, so what a killed writer leaves is no part of an archive.
    std::string name = folder_of(path_) + "/.calseal-" + name_of(path_) + ".XXXXXX";
    Descriptor file = create(name);
    if (!file.is_open()) return write_failed(path_, "create", errno);
    if (::fchmod(file.get(), mode_for(pending.mode)) != 0)
      return write_failed(path_, "set permissions", errno);
    if (pending.pieces == nullptr) {
      CALSEAL_CHECK(write(file.get(), pending.bytes));
    } else {
      CALSEAL_CHECK(write_pieces(file.get(), pending.pieces));
    }
    if (::fsync(file.get()) != 0) return write_failed(path_, "sync", errno);
    if (pending.pieces == nullptr) CALSEAL_CHECK(read_back(file.get(), pending.bytes, 0));
    if (!file.close()) return write_failed(path_, "close", errno);
    return {};
  }

  Status publish(Existing existing) {
    if (existing == Existing::kRefuse) {
      // link() fails when the name is taken, where rename() would replace.
      if (::link(temporary_.c_str(), path_.c_str()) != 0) {
        if (errno == EEXIST) {
          return fail({Reason::kOutputExists, path_, "", "a file of that name", "no such file yet",
                       "choose another name, or move the old file away yourself"});
        }
        return write_failed(path_, "name", errno);
      }
      ::unlink(std::exchange(temporary_, std::string()).c_str());
      return {};
    }
    // Exchanged rather than replaced, where the file system can, so that take_back() can still give the old
    // file back.
    const int exchanged = exists(path_) ? exchange() : -1;
    if (exchanged == 0) return {};
    if (::rename(temporary_.c_str(), path_.c_str()) != 0) return write_failed(path_, "rename", errno);
    temporary_.clear();
    return {};
  }

  // Undoes publish(): the name is free again, or leads to the old file.
  void take_back() {
    if (temporary_.empty()) {
      ::unlink(path_.c_str());
    } else {
      ::rename(temporary_.c_str(), path_.c_str());
      temporary_.clear();
    }
  }

  const std::string& path() const { return path_; }

 private:
  // A name may lead anywhere: to a disk, a terminal, or through a link to a file that nobody meant.
  Status refuse_what_is_no_file() const {
    struct stat status {};
    if (::lstat(path_.c_str(), &status) != 0 || S_ISREG(status.st_mode) || S_ISDIR(status.st_mode)) return {};
    return fail({Reason::kOutputExists, path_, "",
                 S_ISLNK(status.st_mode) ? "a symbolic link" : "a device, pipe or socket",
                 "no file yet, or a regular one", "name the file itself, or another place"});
  }

  mode_t mode_for(FileMode mode) const {
    if (mode == FileMode::kPrivate) return 0600;
    struct stat old {};
    if (::lstat(path_.c_str(), &old) == 0 && S_ISREG(old.st_mode)) return old.st_mode & 0777;
    const mode_t mask = ::umask(0);
    ::umask(mask);
    return mode == FileMode::kVehicle ? 0600 : (0666 & ~mask);
  }

  // From the moment that the file exists an interruption removes it.
  Descriptor create(std::string& name) {
    const NoInterruption creating;
    Descriptor file(::mkostemp(name.data(), O_CLOEXEC));
    if (!file.is_open()) return file;
    temporary_ = name;
    unfinished_.emplace(name);
    return file;
  }

  // Afterwards the old file stands under the temporary name. A folder is no file to exchange with.
  int exchange() const {
    struct stat status {};
    if (::lstat(path_.c_str(), &status) != 0 || S_ISDIR(status.st_mode)) return -1;
    return ::renameat2(AT_FDCWD, temporary_.c_str(), AT_FDCWD, path_.c_str(), RENAME_EXCHANGE);
  }

  Status write(int fd, ByteView bytes) const {
    for (std::size_t done = 0; done < bytes.size();) {
      const ssize_t n = ::write(fd, bytes.data() + done, bytes.size() - done);
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) return write_failed(path_, "write", n < 0 ? errno : EIO);
      done += static_cast<std::size_t>(n);
    }
    return {};
  }

  // Each piece is read back while it is there.
  Status write_pieces(int fd, const Pieces& pieces) const {
    for (std::uint64_t at = 0;;) {
      CALSEAL_ASSIGN(const ByteView piece, pieces());
      if (piece.empty()) return {};
      CALSEAL_CHECK(write(fd, piece));
      CALSEAL_CHECK(read_back(fd, piece, at));
      at += piece.size();
    }
  }

  Status read_back(int fd, ByteView bytes, std::uint64_t begin) const {
    Bytes block(std::size_t{1} << 16);
    for (std::size_t at = 0; at < bytes.size();) {
      const ssize_t n = ::pread(fd, block.data(), std::min(block.size(), bytes.size() - at),
                                static_cast<off_t>(begin + at));
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) return write_failed(path_, "read back", n < 0 ? errno : EIO);
      if (std::memcmp(block.data(), bytes.data() + at, static_cast<std::size_t>(n)) != 0) {
        return fail({Reason::kWriteFailed, path_, "read back at byte " + std::to_string(begin + at),
                     "other bytes than written", "the bytes written",
                     "do not trust this disk; write to another one"});
      }
      at += static_cast<std::size_t>(n);
    }
    return {};
  }

  std::string path_;
  std::string temporary_;
  std::optional<Unfinished> unfinished_;
};

void sync_folder(const std::string& path) {
  const Descriptor folder(::open(folder_of(path).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (folder.is_open()) ::fsync(folder.get());
}

Status refuse_same_file(const std::string& output, const std::vector<std::string>& inputs) {
  struct stat out {};
  if (::stat(output.c_str(), &out) != 0) return {};
  for (const std::string& input : inputs) {
    struct stat in {};
    if (::stat(input.c_str(), &in) == 0 && in.st_dev == out.st_dev && in.st_ino == out.st_ino) {
      return fail({Reason::kOutputIsInput, printable(output), "", "the same file as " + printable(input),
                   "an output of its own", "choose another output name"});
    }
  }
  return {};
}

// As far as the path exists.
std::filesystem::path where_it_leads(const std::string& path) {
  std::error_code error;
  const auto absolute = std::filesystem::absolute(path, error);
  const auto found = std::filesystem::weakly_canonical(absolute, error);
  return error ? absolute.lexically_normal() : found;
}

}  // namespace

namespace {

tl::unexpected<Error> unreadable(const std::string& shown, const std::string& found) {
  return fail({Reason::kFileUnreadable, shown, "", found, "a regular file that you may read",
               "check the name and the permissions"});
}

}  // namespace

PartialFile::PartialFile(int fd, std::uint64_t size, std::string shown)
    : fd_(fd), size_(size), shown_(std::move(shown)) {}
PartialFile::PartialFile(PartialFile&& other) noexcept
    : fd_(std::exchange(other.fd_, -1)),
      size_(other.size_),
      at_(other.at_),
      shown_(std::move(other.shown_)) {}
PartialFile::~PartialFile() {
  if (fd_ >= 0) ::close(fd_);
}

Result<PartialFile> PartialFile::open(const std::string& path, std::uint64_t limit) {
  const std::string shown = printable(path);
  PartialFile file(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK), 0, shown);
  if (file.fd_ < 0) {
    if (errno == ENOENT || errno == ENOTDIR) {
      return fail(
          {Reason::kFileMissing, shown, "", "nothing of that name", "an existing file", "check the name"});
    }
    return unreadable(shown, system_text(errno));
  }
  struct stat status {};
  if (::fstat(file.fd_, &status) != 0) return unreadable(shown, system_text(errno));
  if (S_ISDIR(status.st_mode)) return unreadable(shown, "a folder");
  if (!S_ISREG(status.st_mode)) return unreadable(shown, "a device, pipe or socket");
  file.size_ = static_cast<std::uint64_t>(status.st_size);
  if (file.size_ > limit) {
    return fail({Reason::kFileTooLarge, shown, "", grouped(file.size_) + " bytes",
                 "at most " + grouped(limit) + " bytes", "check that this is the right file"});
  }
  if (file.size_ == 0) {
    return fail({Reason::kFileEmpty, shown, "", "0 bytes", "a file with content", "get the file again"});
  }
  return file;
}

Status PartialFile::read_up_to(std::uint64_t count, Bytes& bytes) {
  std::size_t done = bytes.size();
  const std::uint64_t wanted = std::min(count, size_);
  if (wanted <= done) return {};
  bytes.resize(wanted);
  while (done < bytes.size()) {
    const ssize_t n = ::read(fd_, bytes.data() + done, bytes.size() - done);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return unreadable(shown_, system_text(errno));
    if (n == 0) return unreadable(shown_, "a file that changes while it is read");
    done += static_cast<std::size_t>(n);
  }
  return {};
}

Status PartialFile::read_next(std::size_t most, Bytes& piece) {
  piece.resize(static_cast<std::size_t>(std::min<std::uint64_t>(most, size_ - at_)));
  if (piece.empty()) return expect_end();
  for (;;) {
    const ssize_t n = ::read(fd_, piece.data(), piece.size());
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0)
      return unreadable(shown_, n < 0 ? system_text(errno) : "a file that changes while it is read");
    piece.resize(static_cast<std::size_t>(n));
    at_ += piece.size();
    return {};
  }
}

Status PartialFile::expect_end() const {
  std::uint8_t more = 0;
  if (::read(fd_, &more, 1) > 0) return unreadable(shown_, "a file that changes while it is read");
  return {};
}

Result<Bytes> read_file(const std::string& path, std::uint64_t limit) {
  CALSEAL_ASSIGN(PartialFile file, PartialFile::open(path, limit));
  Bytes bytes;
  CALSEAL_CHECK(file.read_up_to(file.size(), bytes));
  CALSEAL_CHECK(file.expect_end());
  return bytes;
}

Status write_files(const std::vector<PendingFile>& files) {
  std::vector<Staged> staged;
  staged.reserve(files.size());
  for (const PendingFile& file : files) {
    if (file.existing == Existing::kRefuse && exists(file.path)) {
      return fail({Reason::kOutputExists, printable(file.path), "", "a file of that name", "no such file yet",
                   "choose another name, or move the old file away yourself"});
    }
    staged.emplace_back(file.path);
    CALSEAL_CHECK(staged.back().stage(file));
  }
  const NoInterruption publishing;
  for (std::size_t i = 0; i < staged.size(); ++i) {
    if (Status status = staged[i].publish(files[i].existing); !status) {
      while (i-- > 0) staged[i].take_back();
      return status;
    }
  }
  for (const Staged& file : staged) {
    sync_folder(file.path());
    note_written(file.path());
  }
  return {};
}

Status write_file(const std::string& path, ByteView bytes, FileMode mode, Existing existing) {
  return write_files({{path, bytes, mode, existing, nullptr}});
}

Status refuse_clashes(const std::vector<std::string>& outputs, const std::vector<std::string>& inputs) {
  std::vector<std::filesystem::path> places;
  for (const std::string& output : outputs) {
    CALSEAL_CHECK(refuse_same_file(output, inputs));
    places.push_back(where_it_leads(output));
    if (std::ranges::count(places, places.back()) > 1) {
      return fail({Reason::kUsage, printable(output), "", "the same place as another output",
                   "a file of its own for each output", "choose another name for one of them"});
    }
  }
  return {};
}

}  // namespace calseal
