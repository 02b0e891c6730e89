// One writer's turn at a ledger: locked, recovered from whatever a cut-off writer left, ready to append.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/folder_lock.h"
#include "calseal/base/result.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/grown_file.h"
#include "calseal/ledger/merkle.h"
#include "calseal/ledger/tip.h"

namespace calseal {

class LedgerWriter {
 public:
  // Takes the lock, compares tip and files (kLedgerDamaged), takes out torn lines, adopts whole ones.
  static Result<LedgerWriter> open(const std::string& folder);

  // As append_entries().
  Result<Appended> append(const std::vector<NewEntry>& entries);

  // As it stands; every entry of it is on the disk.
  const LedgerTip& tip() const { return tip_; }
  TreeHead head() const;

 private:
  LedgerWriter(std::string folder, FolderLock lock, GrownFile entries, GrownFile details, LedgerTip tip);
  Status recover();
  Status cut_details();
  Result<std::vector<AppendedEntry>> find_what_is_there(const std::vector<NewEntry>& entries);
  Status write_tip(const MerkleFrontier& frontier);

  std::string folder_;
  FolderLock lock_;
  GrownFile entries_, details_;
  LedgerTip tip_;
  std::uint64_t torn_bytes_ = 0, adopted_ = 0;
};

}  // namespace calseal
