// Digests of parts of contents that many bundles carry: the first reads of many vehicles are the same bytes.
#pragma once

#include <cstddef>
#include <map>
#include <mutex>
#include <optional>
#include <tuple>

#include "calseal/base/range_set.h"
#include "calseal/digest/sha256.h"

namespace calseal {

// Of any number of threads. Bounded: full, it begins anew.
class SpanDigests {
 public:
  // SHA-256 of `part`, counted from the beginning of a content with the SHA-256 `content`; nothing: not
  // known.
  std::optional<Sha256> find(const Sha256& content, Range part) const;
  // Believed from then on: only for bytes whose digest was proved to be `content`.
  void keep(const Sha256& content, Range part, const Sha256& digest);

 private:
  using Key = std::tuple<Sha256, std::uint64_t, std::uint64_t>;

  mutable std::mutex mutex_;
  std::map<Key, Sha256> digests_;
};

}  // namespace calseal
