// How far the entries of a ledger were acknowledged.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class Fields;

inline constexpr std::uint64_t kTipSizeLimit = 8192;  // bytes

// tip.json. Every entry within it is on the disk; a ledger that holds fewer has lost some.
struct LedgerTip {
  Sha256 id;                  // of the ledger
  std::uint64_t size = 0;     // entries
  std::uint64_t bytes = 0;    // of entries.jsonl up to there
  std::vector<Sha256> peaks;  // one for each bit set in `size`; see MerkleFrontier
  friend bool operator==(const LedgerTip&, const LedgerTip&) = default;
};

// With its line end.
void tip_fields(Fields& field, LedgerTip& tip);
std::string write_ledger_tip(const LedgerTip& tip);
// kTypeWrong, kLedgerDamaged.
Result<LedgerTip> parse_ledger_tip(ByteView file, const std::string& name);
// Also the reasons of read_file().
Result<LedgerTip> read_ledger_tip(const std::string& folder);

}  // namespace calseal
