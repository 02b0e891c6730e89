#include "calseal/ledger/writer.h"

#include <openssl/rand.h>

#include <algorithm>
#include <map>
#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/interrupt.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/line_reader.h"
#include "calseal/ledger/lock.h"

namespace calseal {
namespace {

constexpr std::uint64_t kNotThere = kJsonIntegerLimit;
constexpr std::uint64_t kTailLimit = std::uint64_t{256} << 20;  // bytes that a cut-off writer may have left

tl::unexpected<Error> ledger_damaged(const std::string& file, std::string place, std::string found,
                                     std::string expected) {
  return fail({Reason::kLedgerDamaged, file, std::move(place), std::move(found), std::move(expected),
               "append nothing; put the ledger back from a copy, then see calseal ledger verify"});
}

Result<Bytes> random_bytes(std::size_t count) {
  Bytes bytes(count);
  if (RAND_bytes(bytes.data(), static_cast<int>(count)) == 1) return bytes;
  return fail({Reason::kInternal, "", "random", "no random bytes from the system", "32 bytes", "try again"});
}

// Every line of details names its revision at the same place, so that looking needs no parsing.
std::string_view about_of(std::string_view line) {
  constexpr std::string_view kKey = R"("facts":{"about":")";
  const std::size_t at = line.find(kKey);
  return at == std::string_view::npos ? std::string_view() : line.substr(at + kKey.size(), 64);
}

bool is_same(const LedgerFacts& one, LedgerFacts other, bool at_any_time) {
  if (at_any_time) other.claimed_time = one.claimed_time;
  return one == other;
}

std::string same_key(const NewEntry& entry) {
  LedgerFacts facts = entry.facts;
  if (entry.same_at_any_time) facts.claimed_time.clear();
  return canonical_text(facts, ledger_facts_fields);
}

}  // namespace

LedgerWriter::LedgerWriter(std::string folder, FolderLock lock, GrownFile entries, GrownFile details,
                           LedgerTip tip)
    : folder_(std::move(folder)),
      lock_(std::move(lock)),
      entries_(std::move(entries)),
      details_(std::move(details)),
      tip_(std::move(tip)) {}

Result<LedgerWriter> LedgerWriter::open(const std::string& folder) {
  CALSEAL_ASSIGN(FolderLock lock, lock_ledger(folder));
  CALSEAL_ASSIGN(LedgerTip tip, read_ledger_tip(folder));
  CALSEAL_ASSIGN(GrownFile entries, GrownFile::open(folder + "/" + std::string(kEntriesFile)));
  CALSEAL_ASSIGN(GrownFile details, GrownFile::open(folder + "/" + std::string(kDetailsFile)));
  LedgerWriter writer(folder, std::move(lock), std::move(entries), std::move(details), std::move(tip));
  CALSEAL_CHECK(writer.recover());
  return writer;
}

TreeHead LedgerWriter::head() const { return MerkleFrontier::restore(tip_.size, tip_.peaks)->head(); }

Status LedgerWriter::recover() {
  const std::string first = write_ledger_line(tip_.id);
  if (entries_.size() < tip_.bytes || tip_.bytes < first.size()) {
    return ledger_damaged(entries_.shown(), "end", grouped(entries_.size()) + " bytes",
                          "at least the " + grouped(tip_.bytes) + " that were acknowledged");
  }
  CALSEAL_ASSIGN(const Bytes start, entries_.read(0, first.size()));
  if (text_of(start) != first)
    return ledger_damaged(entries_.shown(), "line 1", "another ledger", "the one of the tip");
  CALSEAL_ASSIGN(const Bytes last, entries_.read(tip_.bytes - 1, 1));
  if (last[0] != '\n')
    return ledger_damaged(entries_.shown(), "byte " + grouped(tip_.bytes - 1), "no line end",
                          "the end of an entry");
  const std::uint64_t tail_size = entries_.size() - tip_.bytes;
  if (tail_size > kTailLimit)
    return ledger_damaged(entries_.shown(), "end", grouped(tail_size) + " bytes that nobody acknowledged",
                          "fewer");
  CALSEAL_ASSIGN(const Bytes tail, entries_.read(tip_.bytes, tail_size));
  MerkleFrontier frontier = *MerkleFrontier::restore(tip_.size, tip_.peaks);
  // Whole entries count, although nobody was told; whatever follows the first that is none was never one.
  std::uint64_t whole = 0;
  for (std::string_view rest = text_of(tail); !rest.empty();) {
    const std::size_t end = rest.find('\n');
    if (end == std::string_view::npos) break;
    if (!parse_ledger_entry(view_of(rest.substr(0, end)), Reason::kLedgerDamaged, "")) break;
    frontier.append(merkle_leaf_hash(view_of(rest.substr(0, end))));
    rest.remove_prefix(end + 1);
    whole += end + 1;
    ++adopted_;
  }
  torn_bytes_ = tail_size - whole;
  CALSEAL_CHECK(entries_.cut(tip_.bytes + whole));
  if (adopted_ != 0) {
    CALSEAL_CHECK(write_tip(frontier));
  }
  return cut_details();
}

// Details go first onto the disk, so a cut-off writer may have left some without an entry.
Status LedgerWriter::cut_details() {
  std::uint64_t end = details_.size();
  while (end > 0) {
    const std::size_t count = std::min<std::uint64_t>(end, kDetailLineLimit + 2);
    CALSEAL_ASSIGN(const Bytes window, details_.read(end - count, count));
    const std::string_view text = text_of(window);
    const bool whole = text.back() == '\n';
    const std::size_t before = whole ? text.substr(0, count - 1).rfind('\n') : text.rfind('\n');
    const std::size_t start = before == std::string_view::npos ? 0 : before + 1;
    if (before == std::string_view::npos && count < end)
      return ledger_damaged(details_.shown(), "end", "a line longer than any", "lines of details");
    if (whole) {
      const auto detail =
          parse_ledger_detail(view_of(text.substr(start, count - 1 - start)), details_.shown());
      if (!detail || detail->index < tip_.size) break;
    }
    end -= count - start;
  }
  return details_.cut(end);
}

Result<std::vector<AppendedEntry>> LedgerWriter::find_what_is_there(const std::vector<NewEntry>& entries) {
  std::vector<AppendedEntry> found(entries.size(), {kNotThere, false});
  std::multimap<std::string, std::size_t, std::less<>> wanted;
  for (std::size_t i = 0; i < entries.size(); ++i) wanted.emplace(digest_text(entries[i].facts.about), i);
  CALSEAL_ASSIGN(LineReader lines, LineReader::open(folder_ + "/" + std::string(kDetailsFile),
                                                    kLedgerFileLimit, kDetailLineLimit));
  for (;;) {
    CALSEAL_ASSIGN(const std::optional<std::string_view> line, lines.next());
    if (!line) return found;
    const auto [begin, end] = wanted.equal_range(about_of(*line));
    if (begin == end) continue;
    const auto detail = parse_ledger_detail(view_of(*line), lines.shown());
    if (!detail || detail->erased_by) continue;
    for (auto at = begin; at != end; ++at) {
      const NewEntry& entry = entries[at->second];
      if (!found[at->second].was_there && is_same(detail->facts, entry.facts, entry.same_at_any_time))
        found[at->second] = {detail->index, true};
    }
  }
}

Status LedgerWriter::write_tip(const MerkleFrontier& frontier) {
  LedgerTip tip{tip_.id, frontier.size(), entries_.size(), frontier.peaks()};
  CALSEAL_CHECK(write_file(folder_ + "/" + std::string(kTipFile), view_of(write_ledger_tip(tip))));
  tip_ = std::move(tip);
  return {};
}

Result<Appended> LedgerWriter::append(const std::vector<NewEntry>& entries) {
  Appended appended;
  appended.torn_bytes = torn_bytes_;
  appended.adopted = adopted_;
  CALSEAL_ASSIGN(appended.entries, find_what_is_there(entries));
  MerkleFrontier frontier = *MerkleFrontier::restore(tip_.size, tip_.peaks);
  std::map<std::string, std::size_t> given;
  std::string lines, details;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    AppendedEntry& place = appended.entries[i];
    if (!place.was_there) {
      const auto [at, is_new] = given.emplace(same_key(entries[i]), i);
      if (!is_new) place = {appended.entries[at->second].index, true};  // given twice in one go
    }
    if (place.was_there) continue;
    LedgerDetail detail;
    detail.index = place.index = frontier.size();
    CALSEAL_ASSIGN(detail.nonce, random_bytes(kNonceSize));
    detail.facts = entries[i].facts;
    const std::string line = write_ledger_entry(entry_of(detail.nonce, detail.facts));
    const std::string detail_line = write_ledger_detail(detail);
    // What the reader refuses is refused now.
    CALSEAL_CHECK(parse_ledger_entry(view_of(line), Reason::kUsage, "the new entry"));
    if (const auto read = parse_ledger_detail(view_of(detail_line), "the new entry");
        !read || detail_line.size() > kDetailLineLimit) {
      Error error = read ? Error{} : read.error();
      error.reason = Reason::kUsage;
      return fail(std::move(error));
    }
    if (frontier.size() == kLedgerEntryLimit) {
      return fail({Reason::kUsage, printable(folder_), "", "a full ledger",
                   "at most " + grouped(kLedgerEntryLimit) + " entries", "begin another ledger"});
    }
    frontier.append(merkle_leaf_hash(view_of(line)));
    lines += line + "\n";
    details += detail_line + "\n";
  }
  if (!lines.empty()) {
    const NoInterruption appending;
    const std::uint64_t entries_before = entries_.size(), details_before = details_.size();
    const auto take_back = [&](Status status) {
      (void)entries_.cut(entries_before);
      (void)details_.cut(details_before);
      return fail(std::move(status).error());
    };
    CALSEAL_CHECK(details_.append(details));
    if (Status status = entries_.append(lines); !status) return take_back(std::move(status));
    if (Status status = write_tip(frontier); !status) return take_back(std::move(status));
  }
  appended.head = head();
  return appended;
}

}  // namespace calseal
