// One ledger by itself: what was found in it, one finding for each cause.
#include <algorithm>
#include <array>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"

namespace calseal {
namespace {

using Found = std::vector<const LedgerFinding*>;

FindingCode code_of(LedgerFault fault) {
  // Both lists have the same order; a test holds the names together.
  return static_cast<FindingCode>(static_cast<std::size_t>(FindingCode::kLedgerEntryUnreadable) +
                                  static_cast<std::size_t>(fault));
}

std::uint64_t entries_in(const LedgerFinding& found) {
  return found.index && found.last ? *found.last - *found.index + 1 : 1;
}

std::string entries_words(const LedgerFinding& found) {
  if (!found.index) return "";
  if (!found.last) return "entry " + std::to_string(*found.index);
  return "entries " + std::to_string(*found.index) + " to " + std::to_string(*found.last);
}

// Where entries or what they are about cannot be known, other revisions may be theirs.
bool hides_entries(LedgerFault fault) {
  switch (fault) {
    case LedgerFault::kEntryUnreadable:
    case LedgerFault::kEntriesMissing:
    case LedgerFault::kHeadAhead:
    case LedgerFault::kDetailMissing:
    case LedgerFault::kDetailDamaged:
    case LedgerFault::kDetailDiffers:
      return true;
    default:
      return false;
  }
}

// What says that the history was changed or lost, the gravest first.
constexpr std::array kHistory{LedgerFault::kHeadRewritten, LedgerFault::kHeadAhead,
                              LedgerFault::kEntriesMissing, LedgerFault::kTipDiffers};
// What entries that were moved or taken out leave behind in the details.
constexpr std::array kFollowing{LedgerFault::kDetailDiffers, LedgerFault::kDetailStray};

bool is_one_of(LedgerFault fault, std::span<const LedgerFault> faults) {
  return std::ranges::find(faults, fault) != faults.end();
}

// "; besides: 2 of ledger-head-ahead, 191 of ledger-detail-differs"
std::string words_of_the_rest(const Found& rest) {
  std::map<LedgerFault, std::uint64_t> counts;
  for (const LedgerFinding* found : rest) counts[found->fault] += entries_in(*found);
  std::string text;
  for (const auto& [fault, count] : counts)
    text += (text.empty() ? "; besides: " : ", ") + std::to_string(count) + " of " +
            std::string(info(code_of(fault)).name);
  return text;
}

class OneLedger {
 public:
  OneLedger(Judging& judging, const FileFacts& facts) : judging_(judging), facts_(facts) {}

  void judge() {
    for (const LedgerFinding& found : facts_.ledger->findings) {
      if (is_said_already(found)) continue;
      (is_one_of(found.fault, kHistory) ? history_ : others_).push_back(&found);
    }
    judge_history();
    for (const LedgerFinding* found : others_) say(path_of(*found), *found, found->text);
  }

 private:
  std::string path_of(const LedgerFinding& found) const {
    return found.file.empty() ? facts_.path : found.file;
  }

  // What a head is by itself was said of its file, and one of a ledger that is gone is told as that.
  bool is_said_already(const LedgerFinding& found) const {
    const FileFacts* const own = judging_.record().find(path_of(found));
    if (own == nullptr) return false;
    if (found.fault == LedgerFault::kHeadInvalid) return static_cast<bool>(own->fault);
    return found.fault == LedgerFault::kHeadOfAnother && own->statement &&
           judging_.is_gone(own->statement->names.front());
  }

  void judge_history() {
    if (history_.empty()) return;
    std::ranges::stable_sort(history_, {}, [](const LedgerFinding* found) {
      return std::ranges::find(kHistory, found->fault) - kHistory.begin();
    });
    const LedgerFinding& gravest = *history_.front();
    Found rest(history_.begin() + 1, history_.end());
    for (const LedgerFinding* found : others_) {
      if (is_one_of(found->fault, kFollowing)) rest.push_back(found);
    }
    std::erase_if(others_, [](const LedgerFinding* found) { return is_one_of(found->fault, kFollowing); });
    // Whichever head or tip shows it: it is about the entries, and they are to be put back.
    const std::string where = path_of(gravest) == facts_.path ? "" : path_text(path_of(gravest)) + ": ";
    say(facts_.path, gravest, where + gravest.text + words_of_the_rest(rest));
  }

  void say(const std::string& path, const LedgerFinding& found, std::string text) {
    const FileFacts* const own = judging_.record().find(path);
    Finding& finding = judging_.find(code_of(found.fault), path, entries_words(found), std::move(text));
    finding.wanted = WantedFile{
        WantedFile::By::kPlace, path, {}, own == nullptr ? FileKind::kUnknown : own->kind, std::nullopt};
  }

  Judging& judging_;
  const FileFacts& facts_;
  Found history_, others_;
};

}  // namespace

bool hides_entries(const LedgerClaim& ledger) {
  return std::ranges::any_of(ledger.findings,
                             [](const LedgerFinding& found) { return hides_entries(found.fault); });
}

void judge_ledger(Judging& judging, const FileFacts& facts) {
  OneLedger(judging, facts).judge();
  if (facts.ledger->erased == 0) return;
  judging.find(FindingCode::kErasedOnRequest, facts.path, "",
               std::to_string(facts.ledger->erased) + " entries were emptied on request");
}

}  // namespace calseal
