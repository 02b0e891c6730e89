// Walking through a ledger once, entry by entry, in bounded memory.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/ledger/detail.h"
#include "calseal/ledger/tip.h"
#include "calseal/trust/ledger_entry.h"

namespace calseal {

enum class DetailState : std::uint8_t {
  kPresent,  // and bound by the entry
  kErased,   // taken out; erased_by names the entry that says so
  kMissing,  // there is no line for this entry
  kDamaged,  // there is one that cannot be read
  kDiffers   // there is one, and the entry is about something else
};

struct LedgerRecord {
  std::uint64_t index = 0;
  Sha256 leaf_hash;
  std::string line;                           // without its line end
  Result<LedgerEntry> entry = LedgerEntry{};  // an unreadable line is a leaf all the same
  DetailState detail_state = DetailState::kMissing;
  LedgerDetail detail;  // of kPresent, kErased and kDiffers
};

// Who holds the ledger's lock while it is opened.
enum class WhileLocked : std::uint8_t { kByReader, kHere };

class LedgerReader {
 public:
  // `path`: the ledger's folder, or its entries, under whatever name. kFileMissing, kFileUnreadable,
  // kFileTooLarge, kTypeWrong, kLedgerDamaged (first line). A details file that is missing makes all details
  // missing.
  static Result<LedgerReader> open(const std::string& path, WhileLocked locked = WhileLocked::kByReader);
  LedgerReader(LedgerReader&&) noexcept;
  LedgerReader& operator=(LedgerReader&&) noexcept;
  ~LedgerReader();

  const Sha256& id() const;
  const std::string& name() const;  // of the entries file, fit to be printed

  // How far entries were acknowledged when the ledger was opened.
  const Result<LedgerTip>& tip() const;

  // The next entry; nothing at the end. kFileUnreadable, kLedgerDamaged (a line longer than any entry, more
  // entries than there may be).
  Result<std::optional<LedgerRecord>> next();

  // After the end: bytes of the entries file behind its last line end. Not zero after a writer was cut off.
  std::uint64_t torn_bytes() const;
  // After the end: as many of the details file.
  std::uint64_t torn_detail_bytes() const;
  // After the end: bytes of the entries file in front of them.
  std::uint64_t whole_bytes() const;
  // After the end: details out of order, or of one entry twice.
  std::uint64_t stray_details() const;
  // After the end: details of entries behind the last one. A writer writes details first, so one who was cut
  // off leaves some; so does whoever takes entries away.
  std::uint64_t unentered_details() const;

 private:
  struct State;
  explicit LedgerReader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace calseal
