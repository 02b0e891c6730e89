// A signed head of the shop's ledger: how many entries it held at a moment, and the one digest of them all.
//
// Whoever keeps one can show later that entries were removed, put elsewhere or edited since; the size and
// digest are what `shop pin-head` pins.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kTreeHeadLiteral = R"({"calseal":"tree-head/1",)";
inline constexpr std::uint64_t kTreeHeadSizeLimit = 4096;  // bytes, signature lines included

struct SignedHead {
  KeyId root;     // of the trust file under which it counts
  Sha256 ledger;  // which ledger: the id in its first line
  std::string claimed_time;
  TreeHead tree;  // size from 1
  friend bool operator==(const SignedHead&, const SignedHead&) = default;
};

// The signed text: its fields, and as it is written.
void signed_head_fields(Fields& field, SignedHead& head);
std::string write_tree_head_text(const SignedHead& head);

// Literal, lines, strict and canonical JSON; nothing is verified (kFileTooLarge, kTypeWrong,
// kTreeHeadInvalid).
Result<SignedHead> read_tree_head(ByteView file, const std::string& name);

// As parse_withdrawals(), with kTreeHeadInvalid and the role `ledger`: a head speaks for all jobs.
Result<SignedHead> parse_tree_head(ByteView file, const TrustFile& trust, const std::string& name);

}  // namespace calseal
