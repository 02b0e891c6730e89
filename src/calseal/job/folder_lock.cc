#include "calseal/job/folder_lock.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {

FolderLock::FolderLock(FolderLock&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
FolderLock::~FolderLock() {
  if (fd_ >= 0) ::close(fd_);
}

Result<FolderLock> FolderLock::take(const std::string& folder) {
  FolderLock lock(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (lock.fd_ < 0) {
    const bool missing = errno == ENOENT;
    return fail({missing ? Reason::kFileMissing : Reason::kFileUnreadable, printable(folder), "",
                 missing ? "nothing of that name" : std::strerror(errno), "a job folder",
                 "check the name; calseal job new makes one"});
  }
  while (::flock(lock.fd_, LOCK_EX | LOCK_NB) != 0) {
    if (errno == EINTR) continue;
    if (errno == EWOULDBLOCK) {
      return fail({Reason::kJobBusy, printable(folder), "", "another command at work in this folder",
                   "one command at a time", "wait until it has ended, then run this one again"});
    }
    return fail({Reason::kFileUnreadable, printable(folder), "lock", std::strerror(errno),
                 "a folder that can be locked", "keep job folders on a local disk"});
  }
  return lock;
}

}  // namespace calseal
