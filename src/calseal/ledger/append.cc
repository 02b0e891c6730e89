#include "calseal/ledger/append.h"

#include <openssl/rand.h>
#include <sys/stat.h>

#include <cerrno>
#include <cstring>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/ledger/head.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/ledger.h"
#include "calseal/ledger/lock.h"
#include "calseal/ledger/merkle.h"
#include "calseal/ledger/writer.h"

namespace calseal {
namespace {

Status make_folder_if_missing(const std::string& path) {
  if (::mkdir(path.c_str(), 0777) == 0 || errno == EEXIST) return {};
  return fail({Reason::kWriteFailed, printable(path), "create", std::strerror(errno), "a new folder",
               "choose a place that you may write to"});
}

}  // namespace

Result<Sha256> create_ledger(const std::string& folder) {
  Sha256 id;
  if (RAND_bytes(id.bytes.data(), static_cast<int>(id.bytes.size())) != 1)
    return fail(
        {Reason::kInternal, "", "random", "no random bytes from the system", "32 bytes", "try again"});
  CALSEAL_CHECK(make_folder_if_missing(folder));
  CALSEAL_ASSIGN(const FolderLock lock, lock_ledger(folder));
  CALSEAL_CHECK(make_folder_if_missing(folder + "/" + std::string(kHeadsFolder)));
  const std::string first = write_ledger_line(id);
  const std::string tip = write_ledger_tip({id, 0, first.size(), {}});
  // The entries come last: they are what makes a folder a ledger.
  CALSEAL_CHECK(write_files(
      {{folder + "/" + std::string(kDetailsFile), {}, FileMode::kPrivate, Existing::kRefuse},
       {folder + "/" + std::string(kTipFile), view_of(tip), FileMode::kPublic, Existing::kRefuse},
       {folder + "/" + std::string(kEntriesFile), view_of(first), FileMode::kPublic, Existing::kRefuse}}));
  return id;
}

Result<Appended> append_entries(const std::string& folder, const std::vector<NewEntry>& entries) {
  CALSEAL_ASSIGN(LedgerWriter writer, LedgerWriter::open(folder));
  return writer.append(entries);
}

Result<TreeHead> repair_ledger(const std::string& folder) {
  CALSEAL_ASSIGN(const LedgerReport report, verify_ledger(folder, {}));
  for (const LedgerFinding& finding : report.findings) {
    const bool of_history =
        finding.fault == LedgerFault::kHeadRewritten || finding.fault == LedgerFault::kHeadAhead ||
        finding.fault == LedgerFault::kEntryUnreadable || finding.fault == LedgerFault::kEntriesMissing;
    if (!of_history) continue;
    return fail({Reason::kLedgerRewritten, finding.file, "", finding.text,
                 "entries that all kept heads hold on",
                 "put the entries back from a copy; nothing was changed"});
  }
  CALSEAL_ASSIGN(const FolderLock lock, lock_ledger(folder));
  CALSEAL_ASSIGN(LedgerReader reader, LedgerReader::open(folder, WhileLocked::kHere));
  MerkleFrontier frontier;
  for (;;) {
    CALSEAL_ASSIGN(const std::optional<LedgerRecord> record, reader.next());
    if (!record) break;
    frontier.append(record->leaf_hash);
  }
  const std::string tip =
      write_ledger_tip({reader.id(), frontier.size(), reader.whole_bytes(), frontier.peaks()});
  CALSEAL_CHECK(write_file(folder + "/" + std::string(kTipFile), view_of(tip)));
  return frontier.head();
}

}  // namespace calseal
