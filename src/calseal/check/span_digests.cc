#include "calseal/check/span_digests.h"

namespace calseal {
namespace {

constexpr std::size_t kMost = std::size_t{1} << 15;  // some 5 MiB

}  // namespace

std::optional<Sha256> SpanDigests::find(const Sha256& content, Range part) const {
  const std::lock_guard lock(mutex_);
  const auto found = digests_.find({content, part.begin, part.end});
  if (found == digests_.end()) return std::nullopt;
  return found->second;
}

void SpanDigests::keep(const Sha256& content, Range part, const Sha256& digest) {
  const std::lock_guard lock(mutex_);
  if (digests_.size() >= kMost) digests_.clear();
  digests_.insert_or_assign({content, part.begin, part.end}, digest);
}

}  // namespace calseal
