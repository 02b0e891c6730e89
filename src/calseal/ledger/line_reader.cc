#include "calseal/ledger/line_reader.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::size_t kBlock = std::size_t{1} << 18;

tl::unexpected<Error> unreadable(const std::string& shown, const std::string& found) {
  return fail({Reason::kFileUnreadable, shown, "", found, "a regular file that you may read",
               "check the name and the permissions"});
}

}  // namespace

LineReader::LineReader(int fd, std::uint64_t size, std::size_t line_limit, std::string shown)
    : fd_(fd), size_(size), line_limit_(line_limit), shown_(std::move(shown)) {}
LineReader::LineReader(LineReader&& other) noexcept
    : fd_(std::exchange(other.fd_, -1)),
      size_(other.size_),
      line_limit_(other.line_limit_),
      shown_(std::move(other.shown_)),
      read_(other.read_),
      consumed_(other.consumed_),
      buffer_(std::move(other.buffer_)),
      at_(other.at_) {}
LineReader::~LineReader() {
  if (fd_ >= 0) ::close(fd_);
}

Result<LineReader> LineReader::open(const std::string& path, std::uint64_t size_limit,
                                    std::size_t line_limit) {
  LineReader reader(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK), 0, line_limit, printable(path));
  if (reader.fd_ < 0) {
    if (errno == ENOENT || errno == ENOTDIR) {
      return fail({Reason::kFileMissing, reader.shown_, "", "nothing of that name", "an existing file",
                   "check the name"});
    }
    return unreadable(reader.shown_, std::strerror(errno));
  }
  struct stat status {};
  if (::fstat(reader.fd_, &status) != 0) return unreadable(reader.shown_, std::strerror(errno));
  if (!S_ISREG(status.st_mode)) return unreadable(reader.shown_, "no regular file");
  reader.size_ = static_cast<std::uint64_t>(status.st_size);
  if (reader.size_ > size_limit) {
    return fail({Reason::kFileTooLarge, reader.shown_, "", grouped(reader.size_) + " bytes",
                 "at most " + grouped(size_limit) + " bytes", "check that this is the right file"});
  }
  return reader;
}

Status LineReader::fill() {
  buffer_.erase(0, at_);
  at_ = 0;
  const std::size_t old = buffer_.size();
  const std::size_t wanted = std::min<std::uint64_t>(kBlock, size_ - read_);
  buffer_.resize(old + wanted);
  for (std::size_t done = 0; done < wanted;) {
    const ssize_t n = ::pread(fd_, buffer_.data() + old + done, wanted - done, static_cast<off_t>(read_));
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return unreadable(shown_, n < 0 ? std::strerror(errno) : "a file that became shorter");
    done += static_cast<std::size_t>(n);
    read_ += static_cast<std::uint64_t>(n);
  }
  return {};
}

Result<std::optional<std::string_view>> LineReader::next() {
  for (std::size_t searched = at_;;) {
    const std::size_t end = buffer_.find('\n', searched);
    const std::size_t length = (end == std::string::npos ? buffer_.size() : end) - at_;
    if (length > line_limit_) {
      return fail({Reason::kLedgerDamaged, shown_, "byte " + grouped(consumed_),
                   "a line of more than " + grouped(line_limit_) + " bytes", "lines of a ledger",
                   "put the file back from a copy"});
    }
    if (end != std::string::npos) {
      const std::string_view line = std::string_view(buffer_).substr(at_, length);
      at_ = end + 1;
      consumed_ += length + 1;
      return std::optional(line);
    }
    if (read_ == size_) return std::optional<std::string_view>();
    const std::size_t kept = buffer_.size() - at_;
    CALSEAL_CHECK(fill());
    searched = kept;
  }
}

}  // namespace calseal
