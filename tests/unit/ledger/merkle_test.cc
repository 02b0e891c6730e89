// Trees and proofs as built, against published roots, and against the verifiers of the trust layer, which
// follow other sections of RFC 9162.
#include "calseal/ledger/merkle.h"

#include <gtest/gtest.h>

#include "calseal/trust/consistency.h"
#include "support/random.h"
#include "support/sample_inclusion.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

struct Tree {
  std::vector<Sha256> leaves;
  std::vector<TreeHead> heads;  // of every size
};

Tree random_tree(Random& random, std::size_t size) {
  Tree tree;
  MerkleFrontier frontier;
  tree.heads.push_back(frontier.head());
  for (std::size_t i = 0; i < size; ++i) {
    // No two alike: one of two equal neighbours is rightly proved at the other's place.
    Bytes leaf = random.bytes(random.between(2, 40));
    leaf[0] = static_cast<std::uint8_t>(tree.leaves.size());
    leaf[1] = static_cast<std::uint8_t>(tree.leaves.size() >> 8);
    tree.leaves.push_back(merkle_leaf_hash(leaf));
    frontier.append(tree.leaves.back());
    tree.heads.push_back(frontier.head());
  }
  return tree;
}

TEST(MerkleFrontier, PublishedRoots) {
  std::vector<Bytes> leaves;
  std::vector<std::string> roots;
  const auto bytes = read_file(vector_path("merkle.json"), 1 << 20);
  ASSERT_TRUE(bytes.has_value());
  ASSERT_TRUE(read_vector_text(std::string(text_of(*bytes)), "merkle.json", [&](JsonObject& root) {
                for (const JsonNode& leaf : root.items("leaves", 100)) leaves.push_back(leaf.hex(0, 64));
                for (const JsonNode& node : root.items("roots", 100)) {
                  JsonObject row(node);
                  ASSERT_EQ(row.integer("size", 0, 100), roots.size());
                  roots.push_back(row.text("root"));
                }
                root.items("inclusion", 100);
                root.items("consistency", 100);
              }).has_value());
  ASSERT_EQ(roots.size(), leaves.size() + 1);
  MerkleFrontier frontier;
  EXPECT_EQ(digest_text(frontier.head().root_hash), roots[0]);
  for (std::size_t i = 0; i < leaves.size(); ++i) {
    frontier.append(merkle_leaf_hash(leaves[i]));
    EXPECT_EQ(frontier.size(), i + 1);
    EXPECT_EQ(digest_text(frontier.head().root_hash), roots[i + 1]);
  }
}

// The recursive definition, written for the tests, gives the same roots.
TEST(MerkleFrontier, TheDefinitionGivesTheSameRoots) {
  std::vector<std::string> lines;
  MerkleFrontier frontier;
  for (std::size_t size = 0; size <= 130; ++size) {
    ASSERT_EQ(frontier.head().root_hash, tree_hash(lines, 0, size)) << size;
    lines.push_back("line " + std::to_string(size));
    frontier.append(merkle_leaf_hash(view_of(lines.back())));
  }
}

TEST(MerkleFrontier, RestoresFromItsPeaksAlone) {
  Random random;
  const Tree tree = random_tree(random, 100);
  MerkleFrontier frontier;
  for (std::size_t i = 0; i < tree.leaves.size(); ++i) {
    auto restored = MerkleFrontier::restore(frontier.size(), frontier.peaks());
    ASSERT_TRUE(restored);
    frontier = *restored;
    frontier.append(tree.leaves[i]);
    ASSERT_EQ(frontier.head(), tree.heads[i + 1]);
  }
  EXPECT_FALSE(MerkleFrontier::restore(5, {Sha256{}}));
  EXPECT_FALSE(MerkleFrontier::restore(0, {Sha256{}}));
}

TEST(MerkleProofs, EveryLeafOfEveryTree) {
  Random random;
  const Tree tree = random_tree(random, 300);
  std::uint64_t proofs = 0;
  for (std::size_t size = 1; size <= tree.leaves.size(); ++size) {
    const LeafHashes leaves = LeafHashes(tree.leaves).first(size);
    // Every leaf of small trees and of those around powers of two; else the ends and some between.
    const bool all = size <= 70 || (size & (size - 1)) == 0 || ((size + 1) & size) == 0 || size >= 299;
    for (std::size_t i = 0; i < size; i += all ? 1 : random.between(1, 15)) {
      const std::vector<Sha256> path = make_audit_path(leaves, i);
      ASSERT_TRUE(verify_inclusion(tree.leaves[i], i, path, tree.heads[size])) << i << " of " << size;
      ASSERT_FALSE(verify_inclusion(tree.leaves[i], i ^ 1, path, tree.heads[size])) << i << " of " << size;
      ++proofs;
    }
  }
  EXPECT_GT(proofs, 6000U);
}

TEST(MerkleProofs, EveryPairOfTrees) {
  Random random;
  const Tree tree = random_tree(random, 300);
  for (std::size_t second = 1; second <= tree.leaves.size(); ++second) {
    const LeafHashes leaves = LeafHashes(tree.leaves).first(second);
    for (std::size_t first = 1; first <= second; first += second <= 70 ? 1 : random.between(1, 12)) {
      const std::vector<Sha256> path = make_consistency_path(leaves, first);
      ASSERT_TRUE(verify_consistency(tree.heads[first], tree.heads[second], path))
          << first << " to " << second;
      if (first == second) continue;
      // The tree before it was another one.
      TreeHead other = tree.heads[first];
      other.root_hash.bytes[random.between(0, 31)] ^= 4;
      ASSERT_FALSE(verify_consistency(other, tree.heads[second], path)) << first << " to " << second;
    }
  }
  EXPECT_TRUE(make_consistency_path(tree.leaves, 0).empty());
}

// An edited, removed or moved leaf in the earlier part: no path leads from the old head to the new tree.
TEST(MerkleProofs, ARewrittenTreeHasNoProof) {
  Random random;
  for (int round = 0; round < 200; ++round) {
    const Tree tree = random_tree(random, random.between(2, 60));
    std::vector<Sha256> other = tree.leaves;
    const std::size_t first = random.between(1, tree.leaves.size());
    const std::size_t at = random.between(0, first - 1);
    switch (random.between(0, 2)) {
      case 0:
        other[at].bytes[0] ^= 1;
        break;
      case 1:
        other.erase(other.begin() + static_cast<std::ptrdiff_t>(at));
        other.push_back(tree.leaves[at]);
        break;
      default:
        std::swap(other[at], other[(at + 1) % other.size()]);
    }
    const LeafHashes before(tree.leaves);
    if (merkle_root(LeafHashes(other).first(first)) == merkle_root(before.first(first))) continue;
    const TreeHead now{other.size(), merkle_root(other)};
    EXPECT_FALSE(verify_consistency(tree.heads[first], now, make_consistency_path(other, first)));
    EXPECT_FALSE(verify_consistency(tree.heads[first], now, make_consistency_path(tree.leaves, first)));
  }
}

}  // namespace
}  // namespace calseal
