#include "calseal/ledger/merkle.h"

#include <bit>

namespace calseal {
namespace {

// The largest power of two below `size`; size > 1.
std::size_t split_of(std::size_t size) { return std::bit_floor(size - 1); }

// RFC 9162 section 2.1.4.1; `whole`: whether the tree that the proof starts from is all of these leaves.
void add_subproof(LeafHashes leaves, std::size_t first, bool whole, std::vector<Sha256>& path) {
  if (first == leaves.size()) {
    if (!whole) path.push_back(merkle_root(leaves));
    return;
  }
  const std::size_t k = split_of(leaves.size());
  if (first <= k) {
    add_subproof(leaves.first(k), first, whole, path);
    path.push_back(merkle_root(leaves.subspan(k)));
  } else {
    add_subproof(leaves.subspan(k), first - k, false, path);
    path.push_back(merkle_root(leaves.first(k)));
  }
}

}  // namespace

std::optional<MerkleFrontier> MerkleFrontier::restore(std::uint64_t size, std::vector<Sha256> peaks) {
  if (peaks.size() != static_cast<std::size_t>(std::popcount(size))) return std::nullopt;
  MerkleFrontier frontier;
  frontier.size_ = size;
  frontier.peaks_ = std::move(peaks);
  return frontier;
}

void MerkleFrontier::append(const Sha256& leaf_hash) {
  Sha256 hash = leaf_hash;
  for (std::uint64_t at = size_; (at & 1U) != 0; at >>= 1U) {
    hash = merkle_node_hash(peaks_.back(), hash);
    peaks_.pop_back();
  }
  peaks_.push_back(hash);
  ++size_;
}

TreeHead MerkleFrontier::head() const {
  if (peaks_.empty()) return {0, compute_sha256({})};
  Sha256 hash = peaks_.back();
  for (std::size_t i = peaks_.size() - 1; i-- > 0;) hash = merkle_node_hash(peaks_[i], hash);
  return {size_, hash};
}

Sha256 merkle_root(LeafHashes leaves) {
  MerkleFrontier frontier;
  for (const Sha256& leaf : leaves) frontier.append(leaf);
  return frontier.head().root_hash;
}

std::vector<Sha256> make_audit_path(LeafHashes leaves, std::uint64_t index) {
  std::vector<Sha256> path;  // from the root downwards
  std::size_t at = index;
  while (leaves.size() > 1) {
    const std::size_t k = split_of(leaves.size());
    const bool left = at < k;
    path.push_back(merkle_root(left ? leaves.subspan(k) : leaves.first(k)));
    leaves = left ? leaves.first(k) : leaves.subspan(k);
    if (!left) at -= k;
  }
  return {path.rbegin(), path.rend()};
}

std::vector<Sha256> make_consistency_path(LeafHashes leaves, std::uint64_t first) {
  std::vector<Sha256> path;
  if (first > 0 && first <= leaves.size()) add_subproof(leaves, first, true, path);
  return path;
}

}  // namespace calseal
