// SHA-256 of bytes that are still being worked on: what will not change any more is hashed on a second thread
// meanwhile.
#pragma once

#include <atomic>
#include <cstddef>

#include "calseal/base/bytes.h"
#include "calseal/base/other_core.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class DigestAhead {
 public:
  // Begins with the first `settled` bytes, which nobody writes from now on; the bytes stay where they are as
  // long as this lives. Without a second core or a thread to be had, finish() does it all.
  DigestAhead(ByteView bytes, std::size_t settled);
  ~DigestAhead();
  DigestAhead(const DigestAhead&) = delete;
  DigestAhead& operator=(const DigestAhead&) = delete;

  ByteView bytes() const { return bytes_; }
  std::size_t settled() const { return settled_; }
  // The digest of all bytes as they are now. Once.
  Sha256 finish();

  // Whether so many bytes are worth a thread.
  static bool is_worth_it(std::size_t size);

 private:
  void run();

  ByteView bytes_;
  std::size_t settled_;
  std::size_t done_ = 0;  // bytes hashed; the thread's until it is joined
  Sha256Hasher hasher_;
  std::atomic<bool> stop_{false};
  std::atomic<bool> failed_{false};
  OtherCore other_;  // last, so that it ends before what it works on
};

}  // namespace calseal
