#include "calseal/ledger/ledger.h"

#include <algorithm>
#include <array>
#include <unordered_map>

#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/ledger/kept_heads.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/merkle.h"
#include "calseal/ledger/token.h"

namespace calseal {
namespace {

// A seal that is entered so much later than it claims is said to be late; writers that take turns are not.
constexpr std::int64_t kLateSeconds = 24 * 3600;

constexpr std::string_view kCopyNext = "put the file back from a copy";
constexpr std::string_view kHistoryNext =
    "believe none of the entries after the newest head that holds; find out who changed the ledger, and ask "
    "customers for the heads that they keep";

// The findings of a report: entries in a row with one fault together, and no end in silence.
class FindingList {
 public:
  explicit FindingList(LedgerReport& report) : report_(report) {}

  void add(LedgerFinding finding) {
    ++report_.counts[std::string(ledger_fault_name(finding.fault))];
    Listed& listed = listed_[finding.fault];
    if (listed.count != 0 && goes_on(report_.findings[listed.newest], finding)) {
      report_.findings[listed.newest].last = finding.index;
      return;
    }
    if (++listed.count > kLedgerFindingLimit) return;
    listed.newest = report_.findings.size();
    report_.findings.push_back(std::move(finding));
  }

  void end() {
    for (const auto& [fault, listed] : listed_) {
      if (listed.count <= kLedgerFindingLimit) continue;
      report_.findings[listed.newest].text +=
          "; " + grouped(listed.count - kLedgerFindingLimit) + " more of this kind are not listed";
    }
  }

 private:
  struct Listed {
    std::uint64_t count = 0;  // of runs
    std::size_t newest = 0;   // index of the last one that is listed
  };

  static bool goes_on(const LedgerFinding& run, const LedgerFinding& next) {
    return next.index && run.index && *next.index == run.last.value_or(*run.index) + 1 &&
           run.text == next.text;
  }

  LedgerReport& report_;
  std::map<LedgerFault, Listed> listed_;
};

class Verifying {
 public:
  Verifying(LedgerReader reader, const LedgerQuestion& question, const std::string& folder)
      : reader_(std::move(reader)), question_(question), folder_(folder) {
    report_.folder = printable(folder);
    report_.id = reader_.id();
  }

  Result<LedgerReport> run() {
    gather_heads();
    for (;;) {
      compare_heads();
      compare_tip();
      CALSEAL_ASSIGN(const std::optional<LedgerRecord> record, reader_.next());
      if (!record || is_cut_off(*record)) break;
      take(*record);
      frontier_.append(record->leaf_hash);
      if (question_.on_record) question_.on_record(*record);
    }
    report_.head = frontier_.head();
    judge_end();
    judge_erasures();
    list_.end();
    return std::move(report_);
  }

 private:
  void find(LedgerFault fault, std::string file, std::optional<std::uint64_t> index, std::string text,
            std::string_view next) {
    list_.add({fault, std::move(file), index, std::move(text), std::string(next)});
  }

  void gather_heads() {
    for (const KeptHead& kept : kept_heads(folder_)) {
      auto file = read_kept(kept.path, kTreeHeadSizeLimit);
      if (!file) {
        find(LedgerFault::kHeadInvalid, printable(kept.path), std::nullopt, file.error().found, kCopyNext);
        continue;
      }
      GivenHead given{*std::move(file), std::nullopt};
      if (!kept.token_path.empty() && !question_.authorities.empty()) {
        auto token = read_kept(kept.token_path, kTokenSizeLimit);
        if (token) {
          given.token = *std::move(token);
        } else {
          find(LedgerFault::kTokenInvalid, printable(kept.token_path), std::nullopt, token.error().found,
               kCopyNext);
        }
      }
      judge_head(given, true);
    }
    for (const GivenHead& given : question_.heads) judge_head(given, false);
    std::ranges::stable_sort(report_.heads, {}, [](const JudgedHead& head) { return head.head.tree.size; });
    if (question_.trust == nullptr) return;
    pins_ = question_.trust->ledger_heads;
    report_.pinned_time = question_.trust->claimed_time;
  }

  const TrustFile& trust_of(const SignedHead& head) const {
    for (const TrustFile* earlier : question_.earlier) {
      if (compute_key_id(earlier->root) == head.root) return *earlier;
    }
    return *question_.trust;
  }

  void judge_head(const GivenHead& given, bool kept_here) {
    const std::string& name = given.head.name;
    auto head = read_tree_head(given.head.bytes, name);
    if (head && question_.trust != nullptr) {
      const auto judged = parse_tree_head(given.head.bytes, trust_of(*head), name);
      // What the root pinned needs no signature.
      const auto& pins = question_.trust->ledger_heads;
      if (!judged && std::ranges::find(pins, head->tree) == pins.end()) head = fail(judged.error());
    }
    if (!head) {
      return find(LedgerFault::kHeadInvalid, name, std::nullopt,
                  std::string(code(head.error().reason)) + ": " + head.error().found, head.error().next);
    }
    if (head->ledger != report_.id) {
      return find(LedgerFault::kHeadOfAnother, name, std::nullopt,
                  "a head of ledger " + digest_text(head->ledger),
                  "give it to the ledger that it is of; where there is only one, it was replaced");
    }
    JudgedHead judged{name, *head, false, kept_here, std::nullopt};
    if (given.token && !question_.authorities.empty()) {
      const auto time = verify_token(*given.token, given.head.bytes, question_.authorities);
      if (time) {
        judged.token_time = *time;
      } else {
        find(LedgerFault::kTokenInvalid, given.token->name, std::nullopt,
             std::string(code(time.error().reason)) + ": " + time.error().found, time.error().next);
      }
    }
    report_.heads.push_back(std::move(judged));
  }

  std::string expected_words() const {
    return "this ledger's head of this size is " + digest_text(frontier_.head().root_hash);
  }

  // All heads of the size that the tree has now.
  void compare_heads() {
    for (; next_head_ < report_.heads.size() && report_.heads[next_head_].head.tree.size == frontier_.size();
         ++next_head_) {
      JudgedHead& judged = report_.heads[next_head_];
      judged.holds = judged.head.tree == frontier_.head();
      if (judged.holds) {
        latest_ = std::max(latest_, judged.token_time.value_or(judged.head.claimed_time));
      } else {
        find(LedgerFault::kHeadRewritten, judged.file, std::nullopt,
             grouped(judged.head.tree.size) + " entries, " + digest_text(judged.head.tree.root_hash) + "; " +
                 expected_words(),
             kHistoryNext);
      }
    }
    for (; next_pin_ < pins_.size() && pins_[next_pin_].size == frontier_.size(); ++next_pin_) {
      if (pins_[next_pin_] == frontier_.head()) {
        report_.pins.push_back(pins_[next_pin_]);
        continue;
      }
      find(LedgerFault::kHeadRewritten, "trust file", std::nullopt,
           "pinned: " + grouped(pins_[next_pin_].size) + " entries, " +
               digest_text(pins_[next_pin_].root_hash) + "; " + expected_words(),
           kHistoryNext);
    }
  }

  // Behind what was acknowledged a line that is no entry is the end, for the next writer too.
  bool is_cut_off(const LedgerRecord& record) {
    const Result<LedgerTip>& tip = reader_.tip();
    if (!tip || record.index < tip->size || record.entry) return false;
    find(LedgerFault::kTorn, reader_.name(), record.index, "a line that a writer left who was cut off",
         "nothing is to be done; the next append takes it out");
    return true;
  }

  void compare_tip() {
    const Result<LedgerTip>& tip = reader_.tip();
    if (!tip || tip->size != frontier_.size() || tip_seen_) return;
    tip_seen_ = true;
    if (tip->id != report_.id || tip->peaks != frontier_.peaks() || tip->bytes != reader_.whole_bytes()) {
      find(LedgerFault::kTipDiffers, folder_file(kTipFile), std::nullopt,
           "what was acknowledged up to entry " + grouped(tip->size) + " is not what is there",
           "compare entries and tip with a copy; where only the tip is damaged, calseal ledger repair");
    }
  }

  void take(const LedgerRecord& record) {
    present_.push_back(record.detail_state == DetailState::kPresent);
    if (record.entry) {
      ++report_.kinds[std::string(entry_kind_name(record.entry->kind))];
    } else {
      find(LedgerFault::kEntryUnreadable, reader_.name(), record.index, record.entry.error().found,
           kCopyNext);
    }
    judge_detail(record);
    if (record.entry && record.entry->kind == EntryKind::kSealed) judge_time(record);
  }

  void judge_detail(const LedgerRecord& record) {
    const std::string file = folder_file(kDetailsFile);
    switch (record.detail_state) {
      case DetailState::kPresent:
        if (record.detail.facts.kind == EntryKind::kErased)
          erasures_.emplace_back(record.index, record.detail.facts);
        break;
      case DetailState::kErased:
        ++report_.erased;
        erased_.emplace(record.index, std::pair(*record.detail.erased_by, record.leaf_hash));
        break;
      case DetailState::kMissing:
        find(LedgerFault::kDetailMissing, file, record.index, "no details, and no request to erase them",
             kCopyNext);
        break;
      case DetailState::kDamaged:
        find(LedgerFault::kDetailDamaged, file, record.index, "a line that cannot be read", kCopyNext);
        break;
      case DetailState::kDiffers:
        find(LedgerFault::kDetailDiffers, file, record.index, "details of something else than the entry says",
             "believe the entry; put the file back from a copy");
        break;
    }
  }

  void judge_time(const LedgerRecord& record) {
    const auto claimed = parse_time(record.entry->claimed_time);
    const auto before = parse_time(latest_);
    if (!claimed || !before || before->seconds - claimed->seconds <= kLateSeconds) return;
    find(LedgerFault::kEnteredLate, reader_.name(), record.index,
         "claims " + record.entry->claimed_time + ", and a head of " + latest_ + " does not hold it",
         "ask why it was entered late; a job that was taken into the ledger afterwards looks like this too");
  }

  void judge_end() {
    const std::string entries = reader_.name();
    const Result<LedgerTip>& tip = reader_.tip();
    if (!tip) {
      find(LedgerFault::kTipMissing, folder_file(kTipFile), std::nullopt,
           std::string(code(tip.error().reason)) + ": " + tip.error().found,
           "put it back from a copy, or calseal ledger repair");
    } else {
      report_.acknowledged = tip->size;
      if (tip->size > frontier_.size())
        find(LedgerFault::kEntriesMissing, entries, std::nullopt,
             grouped(frontier_.size()) + " entries, and " + grouped(tip->size) + " were acknowledged",
             kHistoryNext);
      if (tip->size < frontier_.size())
        find(
            LedgerFault::kNotAcknowledged, entries, tip->size,
            counted_entries(frontier_.size() - tip->size) + " that a writer left who was cut off; they count",
            "nothing is to be done; the next append acknowledges them");
    }
    if (reader_.torn_bytes() != 0)
      find(LedgerFault::kTorn, entries, std::nullopt,
           bytes_text(reader_.torn_bytes()) + " of a line that a writer left who was cut off",
           "nothing is to be done; the next append takes them out");
    if (reader_.torn_detail_bytes() != 0)
      find(LedgerFault::kTorn, folder_file(kDetailsFile), std::nullopt,
           bytes_text(reader_.torn_detail_bytes()) + " of a line that a writer left who was cut off",
           "nothing is to be done; the next append takes them out");
    if (reader_.unentered_details() != 0 && tip && tip->size > frontier_.size()) {
      find(LedgerFault::kDetailStray, folder_file(kDetailsFile), frontier_.size(),
           counted(reader_.unentered_details()) + " of details behind the last entry that is left",
           "put the entries that are missing back from a copy; details of theirs are these");
    } else if (reader_.unentered_details() != 0) {
      find(LedgerFault::kTorn, folder_file(kDetailsFile), frontier_.size(),
           counted(reader_.unentered_details()) +
               " of details behind the last entry: a writer was cut off before he entered them",
           "nothing, when no entry was ever acknowledged there; the next append takes them out");
    }
    if (reader_.stray_details() != 0)
      find(LedgerFault::kDetailStray, folder_file(kDetailsFile), std::nullopt,
           counted(reader_.stray_details()) + " out of order or without an entry",
           "they are no part of the ledger; put the file back from a copy");
    for (; next_head_ < report_.heads.size(); ++next_head_) {
      const JudgedHead& judged = report_.heads[next_head_];
      find(LedgerFault::kHeadAhead, judged.file, std::nullopt,
           grouped(judged.head.tree.size) + " entries, and the ledger has " + grouped(frontier_.size()),
           kHistoryNext);
    }
    for (; next_pin_ < pins_.size(); ++next_pin_)
      find(LedgerFault::kHeadAhead, "trust file", std::nullopt,
           "pinned: " + grouped(pins_[next_pin_].size) + " entries, and the ledger has " +
               grouped(frontier_.size()),
           kHistoryNext);
  }

  void judge_erasures() {
    std::unordered_map<std::uint64_t, std::uint64_t> said;  // entry, and the one that says it was erased
    for (const auto& [by, facts] : erasures_) {
      std::vector<Sha256> leaves;
      for (const std::uint64_t index : facts.erases) {
        said[index] = by;
        if (const auto at = erased_.find(index); at != erased_.end()) {
          leaves.push_back(at->second.second);
        } else if (index < present_.size() && present_[index]) {
          find(LedgerFault::kErasureUnfinished, folder_file(kDetailsFile), index,
               "details that entry " + grouped(by) + " says were erased", "calseal ledger erase once more");
        }
      }
      if (leaves.size() == facts.erases.size() && digest_of_erased(leaves) != facts.about)
        find(LedgerFault::kDetailDiffers, folder_file(kDetailsFile), by,
             "other entries than those that were erased", kCopyNext);
    }
    for (const auto& [index, place] : erased_) {
      const auto at = said.find(index);
      if (at == said.end() || at->second != place.first)
        find(LedgerFault::kErasureUnknown, folder_file(kDetailsFile), index,
             "details taken out, and entry " + grouped(place.first) + " does not say so", kCopyNext);
    }
  }

  std::string folder_file(std::string_view name) const {
    return printable(folder_ + "/" + std::string(name));
  }
  static std::string counted(std::uint64_t n) { return n == 1 ? "1 line" : grouped(n) + " lines"; }
  static std::string counted_entries(std::uint64_t n) { return n == 1 ? "1 entry" : grouped(n) + " entries"; }

  LedgerReader reader_;
  const LedgerQuestion& question_;
  std::string folder_;
  LedgerReport report_;
  FindingList list_{report_};
  MerkleFrontier frontier_;
  std::vector<TreeHead> pins_;
  std::size_t next_head_ = 0, next_pin_ = 0;
  bool tip_seen_ = false;
  std::string latest_;  // time of the newest head so far that holds; empty: none
  std::vector<bool> present_;
  std::vector<std::pair<std::uint64_t, LedgerFacts>> erasures_;
  std::map<std::uint64_t, std::pair<std::uint64_t, Sha256>> erased_;
};

}  // namespace

bool is_ledger_caution(LedgerFault fault) {
  return fault == LedgerFault::kTorn || fault == LedgerFault::kNotAcknowledged ||
         fault == LedgerFault::kEnteredLate;
}

bool LedgerReport::clean() const {
  return std::ranges::all_of(findings,
                             [](const LedgerFinding& finding) { return is_ledger_caution(finding.fault); });
}

LedgerReport::Time LedgerReport::witnessed(std::uint64_t index) const {
  Time best;
  const auto offer = [&](Witness by, const std::string& time) {
    if (by > best.by || (by == best.by && time < best.time)) best = {by, time};
  };
  for (const JudgedHead& judged : heads) {
    if (!judged.holds || judged.head.tree.size <= index) continue;
    offer(Witness::kHead, judged.head.claimed_time);
    if (judged.token_time) offer(Witness::kToken, *judged.token_time);
  }
  for (const TreeHead& pin : pins) {
    if (pin.size > index) offer(Witness::kPinned, pinned_time);
  }
  return best;
}

Result<LedgerReport> verify_ledger(const std::string& path, const LedgerQuestion& question) {
  CALSEAL_ASSIGN(LedgerReader reader, LedgerReader::open(path));
  return Verifying(std::move(reader), question, ledger_folder(path)).run();
}

}  // namespace calseal
