// What an entry of the ledger is about, kept beside the ledger so that it can be taken out on request.
//
// The entry binds it: its salt is HMAC-SHA-256(nonce, canonical text of the facts), and its subject is
// HMAC-SHA-256(salt, digest). Without the nonce, 32 random bytes of this entry alone, nobody can test a
// guess.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/ledger_entry.h"

namespace calseal {

class Fields;

inline constexpr std::size_t kNonceSize = 32;              // bytes
inline constexpr std::size_t kErasedTogetherLimit = 4096;  // entries that one `erased` entry speaks for

struct LedgerFacts {
  EntryKind kind = EntryKind::kSealed;  // as in the entry
  std::string claimed_time;             // likewise
  Sha256 about;  // manifest digest of the revision, digest of the parcel; of `erased`: digest_of_erased()
  std::string job;                      // name; empty in `erased`
  std::string controller;               // name; likewise
  std::uint64_t base = 0;
  std::uint64_t revision = 0;
  std::uint64_t sequence = 0;
  std::string words;                  // line: channel, grade, reason, receipt
  std::optional<Sha256> file;         // SHA-256 of the file that it is about: bundle, receipt
  std::vector<std::uint64_t> erases;  // ascending; of `erased` alone
  friend bool operator==(const LedgerFacts&, const LedgerFacts&) = default;
};
void ledger_facts_fields(Fields& field, LedgerFacts& facts);

// What a person reads of it beside its kind: "base 1, revision 2", or which parcel, by its SHA-256.
std::string subject_text(const LedgerFacts& facts);

// One line of details.jsonl.
struct LedgerDetail {
  std::uint64_t index = 0;                 // of its entry
  Bytes nonce;                             // empty when erased
  LedgerFacts facts;                       // nothing of it counts when erased
  std::optional<std::uint64_t> erased_by;  // index of the entry that says so
  friend bool operator==(const LedgerDetail&, const LedgerDetail&) = default;
};

void ledger_detail_fields(Fields& field, LedgerDetail& detail);
// Without its line end.
std::string write_ledger_detail(const LedgerDetail& detail);
// Strict and canonical JSON (kLedgerDamaged).
Result<LedgerDetail> parse_ledger_detail(ByteView line, const std::string& name);

// The salt of the entry: what a proof of inclusion gives away.
Sha256 entry_salt(const Bytes& nonce, const LedgerFacts& facts);
// The entry that a detail stands for.
LedgerEntry entry_of(const Bytes& nonce, const LedgerFacts& facts);

// SHA-256 over the leaf hashes of the entries that were erased, one after another.
Sha256 digest_of_erased(const std::vector<Sha256>& leaf_hashes);

}  // namespace calseal
