#include "calseal/ledger/erase.h"

#include <map>
#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/reader.h"
#include "calseal/ledger/writer.h"

namespace calseal {
namespace {

struct Found {
  std::map<std::uint64_t, Sha256> of_job;              // index and leaf hash of details that are still there
  std::map<std::uint64_t, std::uint64_t> said_erased;  // index, and the entry that says so
};

Result<Found> look_for(const std::string& folder, const std::string& job) {
  CALSEAL_ASSIGN(LedgerReader reader, LedgerReader::open(folder, WhileLocked::kHere));
  Found found;
  for (;;) {
    CALSEAL_ASSIGN(const std::optional<LedgerRecord> record, reader.next());
    if (!record) return found;
    if (record->detail_state != DetailState::kPresent) continue;
    const LedgerFacts& facts = record->detail.facts;
    if (facts.kind == EntryKind::kErased) {
      for (const std::uint64_t index : facts.erases) found.said_erased[index] = record->index;
    } else if (facts.job == job) {
      found.of_job.emplace(record->index, record->leaf_hash);
    }
  }
}

// All details once more, those that were erased without what they said.
Result<std::string> details_without(const std::string& folder, const Found& found,
                                    std::vector<std::uint64_t>& taken_out) {
  CALSEAL_ASSIGN(LedgerReader reader, LedgerReader::open(folder, WhileLocked::kHere));
  std::string text;
  for (;;) {
    CALSEAL_ASSIGN(const std::optional<LedgerRecord> record, reader.next());
    if (!record) return text;
    LedgerDetail detail = record->detail;
    switch (record->detail_state) {
      case DetailState::kPresent:
        if (const auto by = found.said_erased.find(record->index); by != found.said_erased.end()) {
          taken_out.push_back(record->index);
          detail = {record->index, {}, {}, by->second};
        }
        [[fallthrough]];
      case DetailState::kErased:
      case DetailState::kDiffers:
        text += write_ledger_detail(detail) + "\n";
        break;
      case DetailState::kMissing:
        break;
      case DetailState::kDamaged:
        return fail({Reason::kLedgerDamaged, printable(folder + "/" + std::string(kDetailsFile)),
                     "entry " + grouped(record->index), "a line that cannot be read",
                     "details that can be written again",
                     "put the file back from a copy first; nothing was changed"});
    }
  }
}

}  // namespace

Result<Erased> erase_job(const std::string& folder, const std::string& job, UtcTime now) {
  CALSEAL_ASSIGN(LedgerWriter writer, LedgerWriter::open(folder));
  CALSEAL_ASSIGN(Found found, look_for(folder, job));
  if (found.of_job.empty()) {
    return fail({Reason::kNotInLedger, printable(folder), "", "no details of job " + printable(job, 80),
                 "a job that the ledger knows", "check the name; what was erased once is gone"});
  }
  Erased erased;
  std::vector<NewEntry> entries;
  std::vector<Sha256> leaves;
  const auto finish_entry = [&] {
    if (!leaves.empty()) entries.back().facts.about = digest_of_erased(leaves);
    leaves.clear();
  };
  for (const auto& [index, leaf] : found.of_job) {
    if (const auto by = found.said_erased.find(index); by != found.said_erased.end()) {
      erased.said_by = by->second;
      continue;
    }
    if (entries.empty() || entries.back().facts.erases.size() == kErasedTogetherLimit) {
      finish_entry();
      entries.emplace_back();
      entries.back().facts.kind = EntryKind::kErased;
      entries.back().facts.claimed_time = time_text(now);
    }
    entries.back().facts.erases.push_back(index);
    leaves.push_back(leaf);
  }
  finish_entry();
  if (!entries.empty()) {
    CALSEAL_ASSIGN(const Appended appended, writer.append(entries));
    for (std::size_t i = 0; i < entries.size(); ++i) {
      erased.said_by = appended.entries[i].index;
      for (const std::uint64_t index : entries[i].facts.erases) found.said_erased[index] = erased.said_by;
    }
  }
  CALSEAL_ASSIGN(const std::string details, details_without(folder, found, erased.entries));
  CALSEAL_CHECK(write_file(folder + "/" + std::string(kDetailsFile), view_of(details), FileMode::kPrivate));
  return erased;
}

}  // namespace calseal
