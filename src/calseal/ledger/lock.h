// The lock of a ledger's folder.
#pragma once

#include <string>

#include "calseal/base/folder_lock.h"

namespace calseal {

inline constexpr LockedFolder kLedgerFolder{Reason::kLedgerBusy, Reason::kLedgerLock, "a ledger's folder",
                                            "calseal ledger new makes one"};
inline constexpr int kLedgerWaitSeconds = 30;

// For a writer: waited for, and proved to keep other writers out (kLedgerBusy, kLedgerLock).
Result<FolderLock> lock_ledger(const std::string& folder);

}  // namespace calseal
