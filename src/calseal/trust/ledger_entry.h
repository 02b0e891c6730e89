// One line of the shop's ledger: that something of one kind happened, when by the shop's word, and to what,
// told only to those who hold the entry's salt.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kEntryLiteral = R"({"calseal":"entry/1",)";

enum class EntryKind : std::uint8_t {
  kSealed,            // a revision was sealed
  kSent,              // handed over; words: the channel
  kReceived,          // a receipt of the customer's checker, a code read aloud, or somebody's word
  kCautionsAccepted,  // the customer has accepted the cautions
  kWritten,           // reported to be in the controller
  kConfirmed,         // a read-back or a scan says so; words: the grade of proof
  kWithdrawn,         // must not be written any more
  kClosed,            // the job is over
  kErased,            // details of earlier entries were taken out on request
  kParcelTaken        // a customer's parcel came into the job; words: which of his it is
};
inline constexpr std::array<std::string_view, 10> kEntryKindNames{
    "sealed",    "sent",   "received", "cautions-accepted", "written", "confirmed",
    "withdrawn", "closed", "erased",   "parcel-taken"};
std::string_view entry_kind_name(EntryKind kind);
std::optional<EntryKind> find_entry_kind(std::string_view name);

struct LedgerEntry {
  EntryKind kind = EntryKind::kSealed;
  std::string claimed_time;
  Sha256 subject;  // HMAC-SHA-256(salt of the entry, digest that it is about)
  friend bool operator==(const LedgerEntry&, const LedgerEntry&) = default;
};

void ledger_entry_fields(Fields& field, LedgerEntry& entry);
// The line without its line end: what a leaf of the tree is made of.
std::string write_ledger_entry(const LedgerEntry& entry);

// Literal, strict and canonical JSON; whatever is wrong is `damaged`.
Result<LedgerEntry> parse_ledger_entry(ByteView line, Reason damaged, const std::string& name);

}  // namespace calseal
