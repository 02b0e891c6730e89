#include "calseal/report/archive/archive_times.h"

#include <algorithm>
#include <map>
#include <tuple>

namespace calseal {
namespace {

constexpr std::int64_t kDaySeconds = 86400;

// The best of a ledger's witnesses, asked by entry.
class WitnessesOf {
 public:
  explicit WitnessesOf(const LedgerClaim& ledger) : best_(ledger.witnesses) {
    for (std::size_t i = best_.size(); i-- > 1;) {
      LedgerWitness& earlier = best_[i - 1];
      const LedgerWitness& later = best_[i];
      if (std::pair(-static_cast<int>(later.by), later.time) <
          std::pair(-static_cast<int>(earlier.by), earlier.time)) {
        earlier.by = later.by;
        earlier.time = later.time;
      }
    }
  }
  const LedgerWitness* of(std::uint64_t index) const {
    const auto at = std::ranges::upper_bound(best_, index, {}, &LedgerWitness::size);
    return at == best_.end() ? nullptr : &*at;
  }

 private:
  std::vector<LedgerWitness> best_;  // each the best of itself and all that hold more
};

WitnessLag lag_of(UtcTime claimed, UtcTime witnessed) {
  const std::int64_t seconds = witnessed.seconds - claimed.seconds;
  if (seconds < 0) return WitnessLag::kBefore;
  if (seconds <= kDaySeconds) return WitnessLag::kDay;
  if (seconds <= 7 * kDaySeconds) return WitnessLag::kWeek;
  return seconds <= 31 * kDaySeconds ? WitnessLag::kMonth : WitnessLag::kLater;
}

class Gathering {
 public:
  Gathering(const AuditRecord& record, const Judgement& judgement) : record_(record), judgement_(judgement) {}

  ArchiveTimes gather() {
    for (const FileFacts& facts : record_.files) {
      if (facts.ledger) take_ledger(*facts.ledger);
    }
    for (const FileFacts& facts : record_.files) {
      if (!facts.revision) continue;
      const auto claimed = parse_time(facts.revision->claimed_time);
      if (claimed) take_revision(facts.revision->identity, *claimed, nullptr);
    }
    for (const Finding& finding : judgement_.findings) take_finding(finding);
    for (auto& [key, month] : months_) times_.months.push_back(month);
    if (!claimed_.empty()) times_.newest = time_text(newest_);
    return std::move(times_);
  }

 private:
  using Place = std::tuple<std::string, std::uint64_t, std::uint64_t, std::uint64_t>;

  void take_ledger(const LedgerClaim& ledger) {
    const WitnessesOf witnesses(ledger);
    for (const LedgerSeal& seal : ledger.seals) {
      take_revision(seal.identity, seal.claimed, witnesses.of(seal.index));
      const auto [at, fresh] =
          by_place_.try_emplace(Place(seal.job, seal.base, seal.revision, seal.sequence), seal.identity);
      if (!fresh && at->second != seal.identity) at->second = Sha256{};  // two controllers: it tells nothing
    }
  }

  void take_revision(const Sha256& identity, UtcTime claimed, const LedgerWitness* witness) {
    if (!claimed_.try_emplace(identity, claimed).second) return;
    ++times_.revisions;
    newest_ = std::max(newest_, claimed);
    ++(witness != nullptr ? month_of(claimed).witnessed : month_of(claimed).unwitnessed);
    ++times_.by_witness[static_cast<std::size_t>(witness != nullptr ? witness->by : Witness::kNobody)];
    if (witness != nullptr) ++times_.by_lag[static_cast<std::size_t>(lag_of(claimed, witness->time))];
  }

  void take_finding(const Finding& finding) {
    if (finding.age == FindingAge::kGone || finding.healed || finding.severity() == Severity::kNote) return;
    const auto at = claimed_.find(identity_of(finding));
    if (at == claimed_.end()) {
      ++times_.undated;
      return;
    }
    ArchiveMonth& month = month_of(at->second);
    ++(finding.severity() == Severity::kError ? month.errors : month.warnings);
  }

  // Which revision a finding is about; nothing is named by Sha256{}.
  Sha256 identity_of(const Finding& finding) const {
    if (finding.wanted && finding.wanted->by == WantedFile::By::kIdentity) return finding.wanted->digest;
    const FileFacts* facts = record_.find(finding.path);
    if (facts == nullptr) return {};
    if (facts->revision) return facts->revision->identity;
    if (!facts->hint) return {};
    const auto at = by_place_.find(
        Place(facts->hint->job, facts->hint->base, facts->hint->revision, facts->hint->sequence));
    return at == by_place_.end() ? Sha256{} : at->second;
  }

  ArchiveMonth& month_of(UtcTime time) {
    const std::string text = time_text(time);  // "2026-01-31T…"
    const std::uint64_t year = std::stoull(text.substr(0, 4));
    const std::uint64_t month = std::stoull(text.substr(5, 2));
    ArchiveMonth& found = months_[{year, month}];
    found.year = year;
    found.month = month;
    return found;
  }

  const AuditRecord& record_;
  const Judgement& judgement_;
  std::map<Sha256, UtcTime> claimed_;
  std::map<Place, Sha256> by_place_;
  std::map<std::pair<std::uint64_t, std::uint64_t>, ArchiveMonth> months_;
  UtcTime newest_{0};
  ArchiveTimes times_;
};

}  // namespace

ArchiveTimes archive_times(const AuditRecord& record, const Judgement& judgement) {
  return Gathering(record, judgement).gather();
}

}  // namespace calseal
