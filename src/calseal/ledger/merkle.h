// Building Merkle trees after RFC 9162 section 2.1: roots, audit paths, consistency proofs. Verifying them is
// in trust/inclusion.h and trust/consistency.h.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "calseal/digest/sha256.h"
#include "calseal/trust/inclusion.h"

namespace calseal {

// A tree that only grows: the roots of its whole subtrees, largest first, are all that the next leaf needs.
class MerkleFrontier {
 public:
  MerkleFrontier() = default;
  // One hash for each bit that is set in `size`, from the highest; nothing for another number of hashes.
  static std::optional<MerkleFrontier> restore(std::uint64_t size, std::vector<Sha256> peaks);

  void append(const Sha256& leaf_hash);  // on average two hashes, at most log2(size) + 1
  std::uint64_t size() const { return size_; }
  const std::vector<Sha256>& peaks() const { return peaks_; }
  // Of the empty tree: SHA-256 of nothing.
  TreeHead head() const;

 private:
  std::uint64_t size_ = 0;
  std::vector<Sha256> peaks_;
};

using LeafHashes = std::span<const Sha256>;

Sha256 merkle_root(LeafHashes leaves);
// RFC 9162 section 2.1.3.1; index < leaves.size(). From the leaf upwards.
std::vector<Sha256> make_audit_path(LeafHashes leaves, std::uint64_t index);
// RFC 9162 section 2.1.4.1; 0 < first <= leaves.size().
std::vector<Sha256> make_consistency_path(LeafHashes leaves, std::uint64_t first);

}  // namespace calseal
