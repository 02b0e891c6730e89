// One writer at a time in one folder.
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/result.h"

namespace calseal {

// How errors speak of a folder of one kind.
struct LockedFolder {
  Reason busy;            // another process holds it
  Reason unlockable;      // the file system gives no lock
  std::string_view what;  // "a job folder"
  std::string_view make;  // what to do when there is none
};

// Held while a command changes the folder; the system gives it up when the process ends, however it ends. No
// file is left by it.
class FolderLock {
 public:
  // flock(2) on the folder itself, waited for at most `wait_seconds`. kFileMissing when there is no such
  // folder, kFileUnreadable when it cannot be opened, else the kind's own reasons.
  static Result<FolderLock> take(const std::string& folder, const LockedFolder& kind, int wait_seconds = 0);
  FolderLock(FolderLock&& other) noexcept;
  FolderLock& operator=(FolderLock&&) = delete;
  ~FolderLock();

  // Whether a second lock, asked for as another process of this machine would, is denied now. Some network
  // and user-space file systems grant everything.
  bool keeps_others_out(const std::string& folder) const;

 private:
  explicit FolderLock(int fd) : fd_(fd) {}
  int fd_;
};

}  // namespace calseal
