#include "calseal/digest/digests_ahead.h"

#include <algorithm>
#include <exception>
#include <functional>
#include <numeric>
#include <utility>

#include "calseal/digest/worth_a_thread.h"

namespace calseal {

DigestsAhead::DigestsAhead(std::vector<ByteView> parts)
    : parts_(std::move(parts)), order_(parts_.size()), digests_(parts_.size()) {
  std::size_t total = 0;
  for (const ByteView& part : parts_) total += part.size();
  std::iota(order_.begin(), order_.end(), std::size_t{0});
  std::ranges::stable_sort(order_, std::ranges::greater(),
                           [this](std::size_t i) { return parts_[i].size(); });
  if (total < kWorthAThread || !OtherCore::is_there()) return;
  other_.start([this] {
    try {
      while (!stop_ && digest_next()) continue;
    } catch (const std::exception&) {
      failed_ = true;  // finish() begins anew, and fails where an exception can be told
    }
  });
}

DigestsAhead::~DigestsAhead() { stop_ = true; }

bool DigestsAhead::digest_next() {
  const std::size_t next = next_++;
  if (next >= order_.size()) return false;
  digests_[order_[next]] = compute_sha256(parts_[order_[next]]);
  return true;
}

std::vector<Sha256> DigestsAhead::finish() {
  while (digest_next()) continue;
  other_.join();
  if (failed_) {
    for (std::size_t i = 0; i < parts_.size(); ++i) digests_[i] = compute_sha256(parts_[i]);
  }
  return std::move(digests_);
}

std::vector<Sha256> compute_sha256_of_each(std::vector<ByteView> parts) {
  if (parts.size() == 1) return {compute_sha256(parts.front())};  // nothing to share
  return DigestsAhead(std::move(parts)).finish();
}

}  // namespace calseal
