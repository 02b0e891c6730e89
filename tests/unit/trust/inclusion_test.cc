#include "calseal/trust/inclusion.h"

#include <gtest/gtest.h>

#include <functional>

#include "support/matchers.h"
#include "support/sample_inclusion.h"
#include "support/sweep.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

struct MerkleVectors {
  std::vector<Bytes> leaves;
  std::vector<std::pair<std::uint64_t, Sha256>> roots;
  struct Path {
    std::uint64_t index, size;
    std::vector<Sha256> path;
  };
  std::vector<Path> paths;
};

Sha256 digest_at(JsonObject& row, std::string_view key) { return *parse_digest(row.text(key)); }

const MerkleVectors& vectors() {
  static const MerkleVectors kVectors = [] {
    MerkleVectors v;
    const auto bytes = read_file(vector_path("merkle.json"), 1 << 20);
    const Status status =
        read_vector_text(std::string(text_of(*bytes)), "merkle.json", [&](JsonObject& root) {
          for (const JsonNode& leaf : root.items("leaves", 100)) v.leaves.push_back(leaf.hex(0, 64));
          for (const JsonNode& node : root.items("roots", 100)) {
            JsonObject row(node);
            v.roots.emplace_back(row.integer("size", 0, 100), digest_at(row, "root"));
          }
          for (const JsonNode& node : root.items("inclusion", 100)) {
            JsonObject row(node);
            MerkleVectors::Path path{row.integer("index", 0, 100), row.integer("size", 1, 100), {}};
            for (const JsonNode& hash : row.items("path", 64))
              path.path.push_back(*parse_digest(hash.text()));
            v.paths.push_back(path);
          }
          root.items("consistency", 100);  // see consistency_test.cc
        });
    if (!status) ADD_FAILURE() << status.error().place << " " << status.error().found;
    return v;
  }();
  return kVectors;
}

TreeHead head_of(std::uint64_t size) {
  for (const auto& [leaves, root] : vectors().roots) {
    if (leaves == size) return {size, root};
  }
  ADD_FAILURE() << "no root of size " << size;
  return {};
}

TEST(Merkle, PublishedPathsHold) {
  ASSERT_EQ(vectors().paths.size(), 4U);
  for (const auto& one : vectors().paths) {
    const Sha256 leaf = merkle_leaf_hash(vectors().leaves.at(one.index));
    EXPECT_TRUE(verify_inclusion(leaf, one.index, one.path, head_of(one.size)))
        << one.index << "/" << one.size;
  }
}

TEST(Merkle, SmallestTreesAreTheirDefinition) {
  EXPECT_EQ(merkle_leaf_hash(vectors().leaves.at(0)), head_of(1).root_hash);
  EXPECT_EQ(
      merkle_node_hash(merkle_leaf_hash(vectors().leaves.at(0)), merkle_leaf_hash(vectors().leaves.at(1))),
      head_of(2).root_hash);
  EXPECT_TRUE(verify_inclusion(merkle_leaf_hash(vectors().leaves.at(0)), 0, {}, head_of(1)));
  EXPECT_FALSE(verify_inclusion(merkle_leaf_hash({}), 0, {}, head_of(0)));
}

// A leaf cannot stand deeper than the tree is, whatever its hash.
TEST(Merkle, APathIsNotLongerThanTheTreeIsDeep) {
  const Sha256 leaf = merkle_leaf_hash(view_of("leaf"));
  const Sha256 beside = merkle_leaf_hash(view_of("beside"));
  EXPECT_FALSE(verify_inclusion(leaf, 0, {beside}, {1, merkle_node_hash(beside, leaf)}));
  EXPECT_FALSE(verify_inclusion(leaf, 0, {beside}, {1, merkle_node_hash(leaf, beside)}));
  EXPECT_TRUE(verify_inclusion(leaf, 1, {beside}, {2, merkle_node_hash(beside, leaf)}));
}

// The reference of this test gives the published roots, and every path that it makes holds for its own leaf
// and no other.
TEST(Merkle, AllLeavesOfAllSizes) {
  std::vector<std::string> lines;
  for (const Bytes& leaf : vectors().leaves) lines.emplace_back(leaf.begin(), leaf.end());
  for (std::size_t size = 1; size <= 8; ++size) {
    ASSERT_EQ(tree_hash(lines, 0, size), head_of(size).root_hash);
  }
  for (std::size_t i = lines.size(); i < 40; ++i) lines.push_back("line " + std::to_string(i));
  for (std::size_t size = 1; size <= lines.size(); ++size) {
    const TreeHead head{size, tree_hash(lines, 0, size)};
    for (std::size_t m = 0; m < size; ++m) {
      const std::vector<Sha256> path = audit_path(lines, m, 0, size);
      const Sha256 leaf = merkle_leaf_hash(view_of(lines[m]));
      ASSERT_TRUE(verify_inclusion(leaf, m, path, head));
      for (std::size_t other = 0; other < size + 2; ++other)
        ASSERT_EQ(verify_inclusion(leaf, other, path, head), other == m)
            << m << " as " << other << " of " << size;
      std::vector<Sha256> longer = path;
      longer.push_back(leaf);
      ASSERT_FALSE(verify_inclusion(leaf, m, longer, head));
      for (std::size_t i = 0; i < path.size(); ++i) {
        std::vector<Sha256> bent = path;
        bent[i].bytes[31] ^= 1;
        ASSERT_FALSE(verify_inclusion(leaf, m, bent, head));
        ASSERT_FALSE(
            verify_inclusion(leaf, m, {path.begin(), path.begin() + static_cast<std::ptrdiff_t>(i)}, head));
      }
    }
  }
}

const Sha256 kRevision = compute_sha256(view_of("revision"));

TEST(Inclusion, ReadsBackAsWritten) {
  const InclusionProof proof = sample_inclusion(kRevision);
  const std::string text = write_inclusion(proof);
  const auto parsed = parse_inclusion(view_of(text), "i");
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(write_inclusion(*parsed), text);
  EXPECT_THAT(check_inclusion(*parsed, kRevision, {proof.head}, "i"), IsOk());
}

TEST(Inclusion, TextIsInTheOrderOfTheFormat) {
  InclusionProof proof = sample_inclusion(kRevision, 1, 2);
  proof.entry = "{\"a\"}";
  EXPECT_EQ(write_inclusion(proof), R"({"calseal":"inclusion/1","entry":"{\"a\"}","salt":")" +
                                        to_hex(Bytes(32, 0x77)) + R"(","head":{"size":2,"root_hash":")" +
                                        digest_text(proof.head.root_hash) + R"("},"index":1,"path":[")" +
                                        digest_text(proof.path.at(0)) + "\"]}\n");
}

TEST(Inclusion, EveryBitFlipAndTruncationIsRefused) {
  const InclusionProof proof = sample_inclusion(kRevision);
  const auto reasons = sweep_damage(write_inclusion(proof), [&](const std::string& text) -> Status {
    CALSEAL_ASSIGN(const InclusionProof parsed, parse_inclusion(view_of(text), "i"));
    return check_inclusion(parsed, kRevision, {proof.head}, "i");
  });
  EXPECT_EQ(reasons, (std::set<std::string>{"type-wrong", "inclusion-invalid"}));
}

TEST(Inclusion, SizeIsBounded) {
  EXPECT_THAT(parse_inclusion(Bytes(kInclusionSizeLimit + 1, 'x'), "i"), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse_inclusion(Bytes(), "i"), FailsWith(Reason::kTypeWrong));
}

TEST(Inclusion, OnlyUnderAPinnedHead) {
  const InclusionProof proof = sample_inclusion(kRevision);
  const TreeHead other{proof.head.size, plain_hash("other")};
  const TreeHead longer{proof.head.size + 1, proof.head.root_hash};
  EXPECT_THAT(check_inclusion(proof, kRevision, {}, "i"), FailsWith(Reason::kInclusionInvalid, "head"));
  EXPECT_THAT(check_inclusion(proof, kRevision, {other, longer}, "i"),
              FailsWith(Reason::kInclusionInvalid, "head"));
  EXPECT_THAT(check_inclusion(proof, kRevision, {other, longer, proof.head}, "i"), IsOk());
}

TEST(Inclusion, OnlyForItsOwnRevision) {
  const InclusionProof proof = sample_inclusion(kRevision);
  EXPECT_THAT(check_inclusion(proof, plain_hash("other"), {proof.head}, "i"),
              FailsWith(Reason::kInclusionInvalid, "entry"));
  InclusionProof salted = proof;
  salted.salt[0] ^= 1;
  EXPECT_THAT(check_inclusion(salted, kRevision, {proof.head}, "i"),
              FailsWith(Reason::kInclusionInvalid, "entry"));
}

// The tree may hold entries of other kinds about the same subject; none of them says that it was sealed.
TEST(Inclusion, OnlyASealedEntryOfTheOneForm) {
  const auto with = [](std::string line) {
    InclusionProof proof = sample_inclusion(kRevision, 0, 1);
    proof.entry = std::move(line);
    proof.head = {1, merkle_leaf_hash(view_of(proof.entry))};
    return check_inclusion(proof, kRevision, {proof.head}, "i");
  };
  const Bytes salt(32, 0x77);
  const std::string good = ledger_line(kRevision, salt);
  EXPECT_THAT(with(good), IsOk());
  EXPECT_THAT(with(ledger_line(kRevision, salt, "withdrawn")), FailsWith(Reason::kInclusionInvalid));
  EXPECT_THAT(with(good + " "), FailsWith(Reason::kInclusionInvalid));
  EXPECT_THAT(with(" " + good), FailsWith(Reason::kInclusionInvalid, "entry"));
  EXPECT_THAT(with("{\"calseal\":\"entry/2\"," + good.substr(21)),
              FailsWith(Reason::kInclusionInvalid, "entry"));
  std::string added = good;
  added.insert(added.size() - 1, ",\"more\":1");
  EXPECT_THAT(with(added), FailsWith(Reason::kInclusionInvalid));
}

struct BentProof {
  const char* name;
  std::function<void(InclusionProof&)> bend;
};
class ProofFields : public ::testing::TestWithParam<BentProof> {};

TEST_P(ProofFields, OutsideTheirLimitsAreRefused) {
  InclusionProof proof = sample_inclusion(kRevision);
  GetParam().bend(proof);
  EXPECT_THAT(parse_inclusion(view_of(write_inclusion(proof)), "i"), FailsWith(Reason::kInclusionInvalid));
}
const BentProof kBentProofs[] = {
    {"salt_short", [](InclusionProof& p) { p.salt.pop_back(); }},
    {"salt_long", [](InclusionProof& p) { p.salt.push_back(0); }},
    {"no_leaves", [](InclusionProof& p) { p.head.size = 0; }},
    {"path_long", [](InclusionProof& p) { p.path.assign(65, Sha256{}); }},
    {"entry_long", [](InclusionProof& p) { p.entry.assign(kLedgerLineLimit + 1, 'x'); }},
};
INSTANTIATE_TEST_SUITE_P(Table, ProofFields, ::testing::ValuesIn(kBentProofs),
                         [](const auto& one) { return std::string(one.param.name); });

}  // namespace
}  // namespace calseal
