#include "calseal/base/folder_lock.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstring>
#include <thread>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {

FolderLock::FolderLock(FolderLock&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
FolderLock::~FolderLock() {
  if (fd_ >= 0) ::close(fd_);
}

Result<FolderLock> FolderLock::take(const std::string& folder, const LockedFolder& kind, int wait_seconds) {
  const auto refuse = [&](Reason reason, std::string place, std::string found, std::string expected,
                          std::string next) {
    return fail({reason, printable(folder), std::move(place), std::move(found), std::move(expected),
                 std::move(next)});
  };
  FolderLock lock(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (lock.fd_ < 0) {
    const bool missing = errno == ENOENT;
    return refuse(missing ? Reason::kFileMissing : Reason::kFileUnreadable, "",
                  missing ? "nothing of that name" : std::strerror(errno), std::string(kind.what),
                  "check the name; " + std::string(kind.make));
  }
  const auto until = std::chrono::steady_clock::now() + std::chrono::seconds(wait_seconds);
  while (::flock(lock.fd_, LOCK_EX | LOCK_NB) != 0) {
    if (errno == EINTR) continue;
    if (errno != EWOULDBLOCK) {
      return refuse(kind.unlockable, "lock", std::strerror(errno), "a folder that can be locked",
                    "keep " + std::string(kind.what) + " on a local disk");
    }
    if (std::chrono::steady_clock::now() >= until) {
      return refuse(kind.busy, "", "another command at work in this folder", "one command at a time",
                    "wait until it has ended, then run this one again");
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  return lock;
}

bool FolderLock::keeps_others_out(const std::string& folder) const {
  const FolderLock second(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  return second.fd_ >= 0 && ::flock(second.fd_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
}

}  // namespace calseal
