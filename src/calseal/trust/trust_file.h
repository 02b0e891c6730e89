// The trust file: which keys a customer believes, for what, and how many of them it takes. Signed by its
// root.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/key.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kTrustLiteral = R"({"calseal":"trust/1",)";
inline constexpr std::uint64_t kTrustFileSizeLimit = std::uint64_t{256}
                                                     << 10;  // bytes, signature lines included
inline constexpr std::size_t kTrustKeyLimit = 64;
inline constexpr std::size_t kLedgerHeadLimit = 64;
inline constexpr std::uint64_t kThresholdLimit = 8;
inline constexpr std::size_t kScopeLimit = 256;  // jobs, controllers, region maps of one key

enum class Role : std::uint8_t { kAuthor, kLedger, kMapAuthor, kReviewer, kSheet, kWithdrawal };
std::string_view role_name(Role role);  // "author", "ledger", "map-author", "reviewer", "sheet", "withdrawal"

struct TrustedKey {
  KeyId id;
  PublicKey public_key;
  std::string name;                      // line: whose key it is
  std::vector<Role> roles;               // ascending by name, at least one
  std::vector<std::string> jobs;         // empty: all; else ascending
  std::vector<std::string> controllers;  // empty: all; else ascending
  std::vector<Sha256> region_maps;       // empty: all; else ascending
  std::string valid_from;                // time; inclusive
  std::string valid_until;               // time, exclusive; or empty
  bool compromised = false;              // state "compromised", else "active"
  friend bool operator==(const TrustedKey&, const TrustedKey&) = default;

  bool has_role(Role role) const;
};

struct TrustFile {
  std::uint64_t version = 1;  // grows with every trust file of this root
  std::string shop;           // line
  PublicKey root;
  std::string claimed_time;
  std::optional<KeyId> next_root;      // announced successor
  std::vector<TreeHead> ledger_heads;  // that the root pins; ascending by size, sizes from 1
  std::uint64_t threshold = 1;         // signatures needed on every bundle, 1 to kThresholdLimit
  std::vector<TrustedKey> keys;        // ascending by id; the root is not among them
  friend bool operator==(const TrustFile&, const TrustFile&) = default;

  const TrustedKey* find(const KeyId& id) const;
};

// Whether what a person stated, the fingerprint that was read to him (spoken_code.h) or the 64 digits of a
// key id, names one of `roots`, the newest last. kRootMismatch says which group is wrong or differs.
Status check_stated_root(const std::vector<PublicKey>& roots, std::string_view stated,
                         const std::string& name);

// The signed text: its fields, and as it is written.
void trust_fields(Fields& field, TrustFile& trust);
std::string write_trust_text(const TrustFile& trust);

// Reads and verifies a trust file. In this order: size (kFileTooLarge), literal (kTypeWrong), lines, strict
// and canonical JSON (kTrustInvalid), root key (kKeyWeak), root as stated (kRootMismatch), exactly one
// signature, the root's, over exactly these bytes (kTrustInvalid), all keys (kKeyWeak), inner consistency
// (kTrustInvalid). `stated_root`: the fingerprint that a person was told, or the 64 digits of the root's key
// id; empty when none was. `name` only names the file in errors.
Result<TrustFile> parse_trust_file(ByteView file, std::string_view stated_root, const std::string& name);

}  // namespace calseal
