// Proof that a later head of the ledger continues an earlier one: nothing was removed, moved or edited in
// between (RFC 9162 section 2.1.4).
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/trust/inclusion.h"

namespace calseal {

class Fields;

// RFC 9162 section 2.1.4.2, for first.size <= second.size; equal sizes need an empty path and equal digests.
// Anything continues the empty tree. False for every other size or length.
bool verify_consistency(const TreeHead& first, const TreeHead& second, const std::vector<Sha256>& path);

inline constexpr std::string_view kConsistencyLiteral = R"({"calseal":"consistency/1",)";
inline constexpr std::uint64_t kConsistencySizeLimit = 65536;  // bytes
inline constexpr std::size_t kConsistencyPathLimit = 65;

// Not signed: the heads prove it.
struct ConsistencyProof {
  TreeHead first, second;  // sizes from 1
  std::vector<Sha256> path;
};

// One line, ended by LF.
void consistency_fields(Fields& field, ConsistencyProof& proof);
std::string write_consistency(const ConsistencyProof& proof);
// kFileTooLarge, kTypeWrong, kConsistencyInvalid.
Result<ConsistencyProof> parse_consistency(ByteView file, const std::string& name);

// Whether the proof is about these two heads and holds (kConsistencyInvalid).
Status check_consistency_proof(const ConsistencyProof& proof, const TreeHead& first, const TreeHead& second,
                               const std::string& name);

}  // namespace calseal
