// Appending to a ledger: durable before it is acknowledged, several writers one after another, the same thing
// only once.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/ledger/detail.h"
#include "calseal/trust/inclusion.h"

namespace calseal {

// A new ledger in a new folder. kOutputExists, kWriteFailed; nothing is left then.
Result<Sha256> create_ledger(const std::string& folder);

struct NewEntry {
  LedgerFacts facts;
  // Whether an entry that differs in its claimed time alone is the same one: for a command that a person runs
  // again, and for what can happen only once.
  bool same_at_any_time = false;
};

struct AppendedEntry {
  std::uint64_t index = 0;
  bool was_there = false;
};

struct Appended {
  std::vector<AppendedEntry> entries;  // in the order given
  TreeHead head;                       // of all entries now
  std::uint64_t torn_bytes = 0;        // that a cut-off writer had left and that were taken out
  std::uint64_t adopted = 0;           // whole entries that it had left and that count now
};

// All or none, under the ledger's lock, which is waited for (kLedgerBusy) and proved first (kLedgerLock).
// When it returns, the entries are on the disk. kLedgerDamaged when the ledger lost what was acknowledged;
// kWriteFailed; nothing is appended then. Work: log2 of the number of entries in hashes, and one pass over
// the details for what is there already.
Result<Appended> append_entries(const std::string& folder, const std::vector<NewEntry>& entries);

// The tip of a ledger that lost it, from the entries that are there; every kept head must hold on them
// (kLedgerRewritten).
Result<TreeHead> repair_ledger(const std::string& folder);

}  // namespace calseal
