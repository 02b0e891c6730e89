// One command at a time in one job folder.
#pragma once

#include <string>

#include "calseal/base/result.h"

namespace calseal {

// Held while a command changes the folder; the system gives it up when the process ends, however it ends. No
// file is left by it.
class FolderLock {
 public:
  // flock(2) on the folder itself. kJobBusy when another process holds it, kFileMissing when there is no such
  // folder, kFileUnreadable otherwise.
  static Result<FolderLock> take(const std::string& folder);
  FolderLock(FolderLock&& other) noexcept;
  FolderLock& operator=(FolderLock&&) = delete;
  ~FolderLock();

 private:
  explicit FolderLock(int fd) : fd_(fd) {}
  int fd_;
};

}  // namespace calseal
