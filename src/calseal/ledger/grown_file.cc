#include "calseal/ledger/grown_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {

GrownFile::GrownFile(int fd, std::uint64_t size, std::string shown)
    : fd_(fd), size_(size), shown_(std::move(shown)) {}
GrownFile::GrownFile(GrownFile&& other) noexcept
    : fd_(std::exchange(other.fd_, -1)), size_(other.size_), shown_(std::move(other.shown_)) {}
GrownFile::~GrownFile() {
  if (fd_ >= 0) ::close(fd_);
}

Result<GrownFile> GrownFile::open(const std::string& path) {
  GrownFile file(::open(path.c_str(), O_RDWR | O_CLOEXEC | O_NONBLOCK), 0, printable(path));
  const auto unreadable = [&](const std::string& found) {
    return fail({Reason::kFileUnreadable, file.shown_, "", found,
                 "a regular file that you may read and write", "check the name and the permissions"});
  };
  if (file.fd_ < 0) {
    if (errno == ENOENT || errno == ENOTDIR) {
      return fail({Reason::kFileMissing, file.shown_, "", "nothing of that name", "a file of the ledger",
                   "put it back from a copy"});
    }
    return unreadable(std::strerror(errno));
  }
  struct stat status {};
  if (::fstat(file.fd_, &status) != 0) return unreadable(std::strerror(errno));
  if (!S_ISREG(status.st_mode)) return unreadable("no regular file");
  file.size_ = static_cast<std::uint64_t>(status.st_size);
  return file;
}

Result<Bytes> GrownFile::read(std::uint64_t at, std::size_t count) const {
  Bytes bytes(count);
  for (std::size_t done = 0; done < count;) {
    const ssize_t n = ::pread(fd_, bytes.data() + done, count - done, static_cast<off_t>(at + done));
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) {
      return fail({Reason::kFileUnreadable, shown_, "byte " + grouped(at + done),
                   n < 0 ? std::strerror(errno) : "the end of the file", "a file that can be read",
                   "check the disk"});
    }
    done += static_cast<std::size_t>(n);
  }
  return bytes;
}

tl::unexpected<Error> GrownFile::failed(const std::string& step, int error) const {
  return fail({Reason::kWriteFailed, shown_, step, std::strerror(error), "a file that can be appended to",
               error == ENOSPC || error == EDQUOT || error == EFBIG
                   ? "free some space and run the command again"
                   : "check the disk and the permissions, then run the command again"});
}

Status GrownFile::cut(std::uint64_t size) {
  if (size >= size_) return {};
  if (::ftruncate(fd_, static_cast<off_t>(size)) != 0) return failed("cut", errno);
  size_ = size;
  if (::fsync(fd_) != 0) return failed("sync", errno);
  return {};
}

Status GrownFile::write_synced(std::string_view text) {
  for (std::size_t done = 0; done < text.size();) {
    const ssize_t n = ::pwrite(fd_, text.data() + done, text.size() - done, static_cast<off_t>(size_ + done));
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return failed("append", n < 0 ? errno : EIO);
    done += static_cast<std::size_t>(n);
  }
  if (::fsync(fd_) != 0) return failed("sync", errno);
  CALSEAL_ASSIGN(const Bytes back, read(size_, text.size()));
  struct stat status {};
  if (text_of(back) != text || ::fstat(fd_, &status) != 0 ||
      static_cast<std::uint64_t>(status.st_size) != size_ + text.size()) {
    return fail({Reason::kWriteFailed, shown_, "read back", "other bytes than written", "the bytes written",
                 "make sure that one machine alone writes to this ledger; do not trust this disk"});
  }
  return {};
}

Status GrownFile::append(std::string_view text) {
  const std::uint64_t before = size_;
  if (Status written = write_synced(text); !written) {
    size_ = before + text.size();
    (void)cut(before);
    return written;
  }
  size_ += text.size();
  return {};
}

}  // namespace calseal
