// Judging a ledger: its tree from the first line to the last, its heads, and those that others kept.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/ledger/reader.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/tree_head.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

enum class LedgerFault : std::uint8_t {
  kEntryUnreadable,    // a line that is no entry
  kEntriesMissing,     // fewer entries than were acknowledged
  kTipMissing,         // nothing tells how far entries were acknowledged
  kTipDiffers,         // the acknowledged part is not what was acknowledged
  kTorn,               // caution: a line that a cut-off writer left; the next append takes it out
  kNotAcknowledged,    // caution: whole entries that a cut-off writer left; they count
  kDetailMissing,      // an entry about which nothing is known, and no request to erase it
  kDetailDamaged,      // a line of details that cannot be read
  kDetailDiffers,      // details of something else than the entry says
  kDetailStray,        // details without an entry
  kErasureUnfinished,  // details that an entry says were erased
  kErasureUnknown,     // details erased, and no entry says so
  kHeadInvalid,        // a head that nobody has to believe
  kHeadRewritten,      // a head that this ledger contradicts: it was rewritten
  kHeadAhead,          // a head with more entries than there are: some were removed
  kHeadOfAnother,      // a head of another ledger
  kTokenInvalid,       // a time-stamp token that proves nothing
  kEnteredLate         // caution: a seal that claims a time before a head that does not hold it
};
inline constexpr std::array<std::string_view, 18> kLedgerFaultNames{
    "entry-unreadable",   "entries-missing", "tip-missing",    "tip-differs",    "torn",
    "not-acknowledged",   "detail-missing",  "detail-damaged", "detail-differs", "detail-stray",
    "erasure-unfinished", "erasure-unknown", "head-invalid",   "head-rewritten", "head-ahead",
    "head-of-another",    "token-invalid",   "entered-late"};
inline std::string_view ledger_fault_name(LedgerFault fault) {
  return kLedgerFaultNames[static_cast<std::size_t>(fault)];
}
bool is_ledger_caution(LedgerFault fault);

struct LedgerFinding {
  LedgerFault fault = LedgerFault::kTorn;
  std::string file;                    // fit to be printed
  std::optional<std::uint64_t> index;  // of the entry
  std::string text;                    // what is there
  std::string next;                    // what to do
  std::optional<std::uint64_t> last =
      std::nullopt;  // of a run of entries with this fault that begins at `index`
  friend bool operator==(const LedgerFinding&, const LedgerFinding&) = default;
};

// A head that is held against the ledger.
struct GivenHead {
  NamedBytes head;
  std::optional<NamedBytes> token;  // time-stamp response or token over the head's file
};

struct LedgerQuestion {
  const TrustFile* trust = nullptr;       // nothing: signatures of heads are not judged
  std::vector<const TrustFile*> earlier;  // of roots before that one, for heads of their time
  std::vector<GivenHead> heads;           // besides those in the ledger's folder
  std::vector<NamedBytes> authorities;    // PEM certificates of time-stamp authorities that are believed
  // Called for every entry in order; what an audit builds its own picture from.
  std::function<void(const LedgerRecord&)> on_record;
};

// When an entry existed at the latest, and who says so.
enum class Witness : std::uint8_t {
  kNobody,  // the entry's own claimed time is all there is
  kHead,    // a head signed by the shop's ledger key: the shop's word again, though it can be held against it
  kPinned,  // a head that the root pinned
  kToken    // a time-stamp authority
};
inline constexpr std::array<std::string_view, 4> kWitnessNames{"nobody", "head", "pinned", "token"};
inline std::string_view witness_name(Witness witness) {
  return kWitnessNames[static_cast<std::size_t>(witness)];
}

struct JudgedHead {
  std::string file;
  SignedHead head;  // once it was read
  bool holds = false;
  bool kept_here = false;                 // in the ledger's folder
  std::optional<std::string> token_time;  // once the token was verified
};

struct LedgerReport {
  std::string folder;  // fit to be printed
  Sha256 id;
  TreeHead head;  // of all whole entries
  std::uint64_t acknowledged = 0;
  std::uint64_t erased = 0;                    // entries without details, on request
  std::map<std::string, std::uint64_t> kinds;  // entries of each kind
  std::vector<JudgedHead> heads;               // that could be read; ascending by size
  // At most kLedgerFindingLimit of each fault; where there are more, the last one says how many.
  std::vector<LedgerFinding> findings;
  std::map<std::string, std::uint64_t> counts;  // of all findings, by name

  std::vector<TreeHead> pins;  // of the trust file, as far as they hold
  std::string pinned_time;     // when the root said so at the latest

  bool clean() const;  // cautions apart
  // Of the entry with this index: the earliest time at which a head that holds it was witnessed, best witness
  // first (token, pinned, head).
  struct Time {
    Witness by = Witness::kNobody;
    std::string time;
  };
  Time witnessed(std::uint64_t index) const;
};
inline constexpr std::uint64_t kLedgerFindingLimit = 1000;

// Reads the ledger once, whole: time linear, memory that of the heads and findings. Every head of the folder,
// of the question and of the trust file's pins is compared at its size. Fails only as LedgerReader does; all
// else is a finding.
Result<LedgerReport> verify_ledger(const std::string& path, const LedgerQuestion& question);

}  // namespace calseal
