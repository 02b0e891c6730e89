#include "calseal/ledger/lock.h"

#include "calseal/base/text.h"

namespace calseal {

Result<FolderLock> lock_ledger(const std::string& folder) {
  CALSEAL_ASSIGN(FolderLock lock, FolderLock::take(folder, kLedgerFolder, kLedgerWaitSeconds));
  if (!lock.keeps_others_out(folder)) {
    return fail({Reason::kLedgerLock, printable(folder), "lock",
                 "a second lock was given while the first was held",
                 "a file system whose locks keep writers apart", "keep the ledger on a local disk"});
  }
  return lock;
}

}  // namespace calseal
