#include "calseal/archive/piece_reader.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"

namespace calseal {
namespace {

// Large enough for the system to read ahead, small enough to stay in a processor's own cache.
constexpr std::size_t kPieceSize = std::size_t{256} << 10;

// Whether the system has the last byte of a file at hand, and then most likely all of it: cheaper than a look
// at every page.
bool ends_in_memory(int fd) {
#ifdef RWF_NOWAIT
  struct stat status {};
  if (::fstat(fd, &status) != 0 || status.st_size == 0) return false;
  std::uint8_t last = 0;
  const struct iovec to { &last, 1 };
  return ::preadv2(fd, &to, 1, status.st_size - 1, RWF_NOWAIT) == 1;
#else
  static_cast<void>(fd);
  return false;
#endif
}

}  // namespace

PieceReader::PieceReader()
    : buffer_(std::make_unique_for_overwrite<std::uint8_t[]>(
          std::max<std::size_t>(kPrefixSizeLimit, kPieceSize))) {}
PieceReader::~PieceReader() { close(); }

void PieceReader::close() {
  if (fd_ >= 0) ::close(fd_);
  fd_ = -1;
}

tl::unexpected<Error> PieceReader::unreadable(const std::string& found) const {
  return fail({Reason::kFileUnreadable, shown_, "byte " + std::to_string(at_), found,
               "a regular file that you may read", "check the disk and the permissions"});
}

Status PieceReader::open(const std::string& path, std::uint64_t limit) {
  close();
  shown_ = printable(path);
  at_ = 0;
  fd_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOFOLLOW);
  if (fd_ < 0 && (errno == ENOENT || errno == ENOTDIR)) {
    return fail(
        {Reason::kFileMissing, shown_, "", "nothing of that name", "an existing file", "check the name"});
  }
  if (fd_ < 0) return unreadable(std::strerror(errno));
  struct stat status {};
  if (::fstat(fd_, &status) != 0) return unreadable(std::strerror(errno));
  if (!S_ISREG(status.st_mode)) return unreadable("a folder, device, pipe or socket");
  size_ = static_cast<std::uint64_t>(status.st_size);
  if (size_ > limit) {
    return fail({Reason::kFileTooLarge, shown_, "", grouped(size_) + " bytes",
                 "at most " + grouped(limit) + " bytes", "check that this is the right file"});
  }
  ::posix_fadvise(fd_, 0, 0, POSIX_FADV_SEQUENTIAL);
  return {};
}

Result<ByteView> PieceReader::read(std::size_t wanted) {
  std::size_t done = 0;
  while (done < wanted) {
    const ssize_t n = ::read(fd_, buffer_.get() + done, wanted - done);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return unreadable(std::strerror(errno));
    if (n == 0) return unreadable("a file that changes while it is read");
    done += static_cast<std::size_t>(n);
    at_ += static_cast<std::uint64_t>(n);
  }
  return ByteView(buffer_.get(), done);
}

Result<ByteView> PieceReader::beginning() {
  return read(static_cast<std::size_t>(std::min<std::uint64_t>(kPrefixSizeLimit, size_)));
}

Result<ByteView> PieceReader::next() {
  if (at_ < size_) return read(static_cast<std::size_t>(std::min<std::uint64_t>(kPieceSize, size_ - at_)));
  std::uint8_t more = 0;
  if (::read(fd_, &more, 1) > 0) return unreadable("a file that changes while it is read");
  return ByteView();
}

void read_ahead(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOFOLLOW);
  if (fd < 0) return;
  if (!ends_in_memory(fd)) ::posix_fadvise(fd, 0, 0, POSIX_FADV_WILLNEED);
  ::close(fd);
}

}  // namespace calseal
