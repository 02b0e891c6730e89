// SHA-256 of many parts at once: a second thread begins before anybody waits for them.
#pragma once

#include <atomic>
#include <cstddef>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/other_core.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class DigestsAhead {
 public:
  // Nobody writes the parts as long as this lives. Where they are not worth a thread, or without a second
  // core or a thread to be had, finish() does it all.
  explicit DigestsAhead(std::vector<ByteView> parts);
  ~DigestsAhead();
  DigestsAhead(const DigestsAhead&) = delete;
  DigestsAhead& operator=(const DigestsAhead&) = delete;

  // The digest of every part, in their order; the caller's thread takes its share of what is left. Once.
  std::vector<Sha256> finish();

 private:
  bool digest_next();  // false when none is left

  std::vector<ByteView> parts_;
  std::vector<std::size_t> order_;  // the largest first
  std::vector<Sha256> digests_;
  std::atomic<std::size_t> next_{0};  // into order_: the next part that nobody has taken
  std::atomic<bool> stop_{false};
  std::atomic<bool> failed_{false};
  OtherCore other_;  // last, so that it ends before what it works on
};

// The digest of every part, in their order; on two threads when there is enough to hash.
std::vector<Sha256> compute_sha256_of_each(std::vector<ByteView> parts);

}  // namespace calseal
