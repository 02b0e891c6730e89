// SHA-256 of many parts: a second thread begins, and the caller goes on, who may have moved the bytes
// meanwhile.
#pragma once

#include <atomic>
#include <cstddef>
#include <optional>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/other_core.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class DigestsBegun {
 public:
  // Begins with the parts in their order, unless they are not worth a thread; nobody writes or moves them
  // before pause().
  explicit DigestsBegun(std::vector<ByteView> parts);
  ~DigestsBegun();
  DigestsBegun(const DigestsBegun&) = delete;
  DigestsBegun& operator=(const DigestsBegun&) = delete;

  // The second thread lets go of the bytes, within some 50 microseconds, and does not come back.
  void pause();
  // The digest of one part that was begun, once; nothing of one that was not. `bytes` are the part's as they
  // were, wherever they stand now: what was hashed is not hashed again.
  std::optional<Sha256> finish(std::size_t part, ByteView bytes);

 private:
  void run();

  std::vector<ByteView> parts_;
  std::vector<Sha256> digests_;  // of the first parts, which are done
  Sha256Hasher hasher_;          // of the next one
  std::size_t done_ = 0;         // its bytes that were hashed
  std::atomic<bool> stop_{false};
  OtherCore other_;  // last, so that it ends before what it works on
};

}  // namespace calseal
