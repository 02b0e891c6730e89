#include "calseal/trust/consistency.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/sample_inclusion.h"
#include "support/sweep.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

struct PublishedProof {
  TreeHead first, second;
  std::vector<Sha256> path;
};

const std::vector<PublishedProof>& published() {
  static const std::vector<PublishedProof> kProofs = [] {
    std::vector<PublishedProof> proofs;
    std::vector<Sha256> roots(9);
    const auto bytes = read_file(vector_path("merkle.json"), 1 << 20);
    const Status status =
        read_vector_text(std::string(text_of(*bytes)), "merkle.json", [&](JsonObject& root) {
          root.items("leaves", 100);
          root.items("inclusion", 100);
          for (const JsonNode& node : root.items("roots", 9)) {
            JsonObject row(node);
            roots.at(row.integer("size", 0, 8)) = *parse_digest(row.text("root"));
          }
          for (const JsonNode& node : root.items("consistency", 100)) {
            JsonObject row(node);
            PublishedProof proof;
            proof.first.size = row.integer("from", 1, 8);
            proof.second.size = row.integer("to", 1, 8);
            for (const JsonNode& hash : row.items("proof", 64))
              proof.path.push_back(*parse_digest(hash.text()));
            proof.first.root_hash = roots[proof.first.size];
            proof.second.root_hash = roots[proof.second.size];
            proofs.push_back(proof);
          }
        });
    if (!status) ADD_FAILURE() << status.error().place << " " << status.error().found;
    return proofs;
  }();
  return kProofs;
}

TEST(Consistency, PublishedProofsHold) {
  ASSERT_EQ(published().size(), 3U);
  for (const PublishedProof& one : published())
    EXPECT_TRUE(verify_consistency(one.first, one.second, one.path))
        << one.first.size << " " << one.second.size;
}

TEST(Consistency, NothingElseHolds) {
  for (const PublishedProof& one : published()) {
    EXPECT_FALSE(verify_consistency(one.second, one.first, one.path));
    EXPECT_FALSE(verify_consistency(one.second, one.second, one.path));
    for (std::size_t i = 0; i < one.path.size(); ++i) {
      std::vector<Sha256> bent = one.path;
      bent[i].bytes[7] ^= 0x10;
      EXPECT_FALSE(verify_consistency(one.first, one.second, bent));
      EXPECT_FALSE(verify_consistency(one.first, one.second,
                                      {one.path.begin(), one.path.begin() + static_cast<std::ptrdiff_t>(i)}));
    }
    std::vector<Sha256> longer = one.path;
    longer.push_back(one.path.front());
    EXPECT_FALSE(verify_consistency(one.first, one.second, longer));
    TreeHead other = one.first;
    other.root_hash.bytes[0] ^= 1;
    EXPECT_FALSE(verify_consistency(other, one.second, one.path));
    other = one.second;
    other.root_hash.bytes[31] ^= 1;
    EXPECT_FALSE(verify_consistency(one.first, other, one.path));
  }
}

TEST(Consistency, SameAndEmptyTrees) {
  const TreeHead five{5, tree_hash({"a", "b", "c", "d", "e"}, 0, 5)};
  EXPECT_TRUE(verify_consistency(five, five, {}));
  EXPECT_FALSE(verify_consistency(five, {5, Sha256{}}, {}));
  EXPECT_FALSE(verify_consistency(five, five, {five.root_hash}));
  const TreeHead nothing{0, plain_hash("")};
  EXPECT_TRUE(verify_consistency(nothing, five, {}));
  EXPECT_FALSE(verify_consistency({0, Sha256{}}, five, {}));
  EXPECT_FALSE(verify_consistency({4, five.root_hash}, five, {}));
}

ConsistencyProof sample() {
  const PublishedProof& one = published().at(1);
  return {one.first, one.second, one.path};
}

TEST(Consistency, FileReadsBackAsWritten) {
  const std::string text = write_consistency(sample());
  const auto parsed = parse_consistency(view_of(text), "c");
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(write_consistency(*parsed), text);
  EXPECT_THAT(check_consistency_proof(*parsed, sample().first, sample().second, "c"), IsOk());
  EXPECT_THAT(check_consistency_proof(*parsed, {2, Sha256{}}, sample().second, "c"),
              FailsWith(Reason::kConsistencyInvalid, "first"));
  EXPECT_THAT(check_consistency_proof(*parsed, sample().first, {9, Sha256{}}, "c"),
              FailsWith(Reason::kConsistencyInvalid, "second"));
}

TEST(Consistency, EveryBitFlipAndTruncationIsRefused) {
  const auto reasons = sweep_damage(write_consistency(sample()), [&](const std::string& text) -> Status {
    CALSEAL_ASSIGN(const ConsistencyProof parsed, parse_consistency(view_of(text), "c"));
    return check_consistency_proof(parsed, sample().first, sample().second, "c");
  });
  EXPECT_EQ(reasons, (std::set<std::string>{"type-wrong", "consistency-invalid"}));
}

TEST(Consistency, SizeIsBounded) {
  EXPECT_THAT(parse_consistency(Bytes(kConsistencySizeLimit + 1, 'x'), "c"),
              FailsWith(Reason::kFileTooLarge));
}

}  // namespace
}  // namespace calseal
