// Proof that a revision was in the shop's ledger when a pinned head was made: Merkle trees after RFC 9162.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class Fields;

// A ledger's state at one moment.
struct TreeHead {
  std::uint64_t size = 0;  // leaves
  Sha256 root_hash;
  friend bool operator==(const TreeHead&, const TreeHead&) = default;
};

void tree_head_fields(Fields& field, TreeHead& head);

Sha256 merkle_leaf_hash(ByteView leaf);                            // RFC 9162 section 2.1.1: 0x00 || leaf
Sha256 merkle_node_hash(const Sha256& left, const Sha256& right);  // 0x01 || left || right

// RFC 9162 section 2.1.3.2. False also for an index outside the tree or a path of another length.
bool verify_inclusion(const Sha256& leaf_hash, std::uint64_t index, const std::vector<Sha256>& path,
                      const TreeHead& head);

inline constexpr std::string_view kInclusionLiteral = R"({"calseal":"inclusion/1",)";
inline constexpr std::uint64_t kInclusionSizeLimit = 65536;  // bytes
inline constexpr std::size_t kInclusionPathLimit = 64;
inline constexpr std::size_t kLedgerLineLimit = 8192;  // bytes

// What a shop hands out for one revision. Not signed: the pinned head proves it.
struct InclusionProof {
  std::string entry;  // the ledger line, byte for byte; its subject is HMAC-SHA-256(salt, manifest digest)
  Bytes salt;         // 32 bytes, of this entry alone
  TreeHead head;
  std::uint64_t index = 0;
  std::vector<Sha256> path;
};

void inclusion_fields(Fields& field, InclusionProof& proof);
std::string write_inclusion(const InclusionProof& proof);
Result<InclusionProof> parse_inclusion(ByteView file, const std::string& name);

// Whether the proof shows that the ledger under one of `pinned` heads held a `sealed` entry for this manifest
// (kInclusionInvalid).
Status check_inclusion(const InclusionProof& proof, const Sha256& manifest_digest,
                       const std::vector<TreeHead>& pinned, const std::string& name);

}  // namespace calseal
