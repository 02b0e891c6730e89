// Succession: a new root takes over from an old one that had announced it.
//
// The statement carries the old root's last trust file whole, so one file proves the step: that trust file is
// signed by the old root and names the new root's key id as `next_root`; the statement is signed by both.
// After The Update Framework specification, section 6.1 (root rotation).
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/trust/key.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kSuccessionLiteral = R"({"calseal":"succession/1",)";
inline constexpr std::uint64_t kSuccessionSizeLimit = std::uint64_t{640} << 10;  // bytes
inline constexpr std::size_t kSuccessionStepLimit = 16;  // steps that one check follows

struct Succession {
  TrustFile old_trust;         // verified
  std::string old_trust_text;  // the old trust file, byte for byte
  PublicKey new_root;
  std::string claimed_time;
  std::string reason;  // line
};

// The signed text: its fields, and as it is written.
void succession_fields(Fields& field, Succession& succession);
std::string write_succession_text(const Succession& succession);

// Reads and verifies one step. In this order: size (kFileTooLarge), literal (kTypeWrong), lines, strict and
// canonical JSON (kSuccessionInvalid), new root (kKeyWeak), the old trust file and its announcement, exactly
// two signatures, by old and new root (kSuccessionInvalid).
Result<Succession> parse_succession(ByteView file, const std::string& name);

// A verified trust file together with the steps that led to its root, oldest first.
struct TrustChain {
  TrustFile trust;
  std::string text;               // the signed text of `trust`
  std::vector<Succession> steps;  // may be empty
  // All roots, oldest first; the last one is the trust file's.
  std::vector<PublicKey> roots() const;
};

// `successions` oldest first, each step continuing the one before and the last one leading to the trust
// file's root (kSuccessionInvalid). `stated_root` may be the fingerprint of any root of the chain.
struct NamedBytes {
  std::string name;  // only for errors
  Bytes bytes;
};
Result<TrustChain> parse_trust_chain(const NamedBytes& trust, const std::vector<NamedBytes>& successions,
                                     std::string_view stated_root);

}  // namespace calseal
