#include "calseal/archive/judge.h"

#include <algorithm>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"
#include "calseal/job/layout.h"
#include "calseal/ledger/layout.h"

namespace calseal {
namespace {

constexpr std::uint64_t kWorthSharing = 1024;  // bytes; nobody keeps smaller files once for many jobs

const Sha256& identity_of(const FileFacts* facts) { return facts->revision->identity; }
const Sha256& digest_of(const FileFacts* facts) { return *facts->digest; }
SequenceKey sequence_key_of(const FileFacts* facts) {
  const RevisionClaim& claim = *facts->revision;
  return {claim.job, claim.controller, claim.sequence};
}

using SealWords = std::tuple<std::string_view, std::uint64_t, std::uint64_t, std::uint64_t>;
SealWords words_of(const LedgerSeal* seal) { return {seal->job, seal->base, seal->revision, seal->sequence}; }

// The part of an ordered list that has this key.
template <typename T, typename Key, typename KeyOf>
std::span<const T> those_with(const std::vector<T>& list, const Key& key, KeyOf key_of) {
  const auto first = std::ranges::lower_bound(list, key, {}, key_of);
  const auto past = std::ranges::upper_bound(first, list.end(), key, {}, key_of);
  return {list.data() + (first - list.begin()), static_cast<std::size_t>(past - first)};
}

// A ledger of which nothing is known but that it is here.
bool is_unread_ledger(const AuditRecord& record, const FileFacts& facts) {
  if (facts.kind == FileKind::kLedgerEntries) return !facts.ledger;
  if (facts.kind != FileKind::kLedgerDetails && facts.kind != FileKind::kLedgerTip) return false;
  const FileFacts* const entries = record.find(join_path(folder_of(facts.path), kEntriesFile));
  return entries == nullptr || entries->kind != FileKind::kLedgerEntries;
}

}  // namespace

std::string revision_subject(const std::string& job, const std::string& controller, std::uint64_t base,
                             std::uint64_t revision) {
  return "job " + job + ", " + controller + ", base " + std::to_string(base) + ", revision " +
         std::to_string(revision);
}
std::string revision_subject(const RevisionClaim& claim) {
  return revision_subject(claim.job, claim.controller, claim.base, claim.revision);
}

Judging::Judging(const AuditRecord& record, const AuditRecord* earlier) : record_(record), earlier_(earlier) {
  for (const FileFacts& facts : record.files) {
    const std::string folder(folder_of(facts.path));
    if (facts.kind == FileKind::kJobFacts && name_of(facts.path) == kJobFile) {
      job_folders_.insert(folder);
      if (facts.job) folder_of_job_.try_emplace({facts.job->job, facts.job->controller}, folder);
    }
    if (facts.kind == FileKind::kBundle && base_of_folder(name_of(folder)))
      job_folders_.insert(std::string(folder_of(folder)));
    if (facts.digest && facts.size >= kWorthSharing) by_digest_.push_back(&facts);
    if (facts.revision) {
      by_identity_.push_back(&facts);
    } else if (facts.hint) {
      hinted_[facts.hint->job].push_back(&facts);
    }
    if (!facts.ledger) continue;
    has_ledger_ = true;
    for (const LedgerSeal& seal : facts.ledger->seals) seals_.push_back(&seal);
  }
  by_sequence_ = by_identity_;
  std::ranges::stable_sort(by_identity_, {}, identity_of);
  std::ranges::stable_sort(by_sequence_, {}, sequence_key_of);
  std::ranges::sort(by_digest_, {}, digest_of);
  order_seals();
  gather_gone_ledgers();
  if (earlier == nullptr) return;
  for (const FileFacts& facts : earlier->files) {
    if (facts.revision) earlier_places_.try_emplace(facts.revision->identity, facts.path);
  }
}

std::string Judging::earlier_place_of(const Sha256& identity) const {
  const auto found = earlier_places_.find(identity);
  return found == earlier_places_.end() ? std::string() : std::string(found->second);
}

void Judging::gather_gone_ledgers() {
  std::set<Sha256> here;
  for (const FileFacts& facts : record_.files) {
    if (facts.ledger) here.insert(facts.ledger->id);
    if (is_unread_ledger(record_, facts)) return;
  }
  for (const FileFacts& facts : record_.files) {
    if (facts.kind == FileKind::kLedgerHead && !facts.fault && facts.statement &&
        facts.statement->names.size() == 1 && !here.contains(facts.statement->names.front()))
      gone_ledgers_[facts.statement->names.front()].push_back(&facts);
  }
}

// A revision that several ledgers have counts once, as the first of them has it.
void Judging::order_seals() {
  seals_by_identity_ = seals_;
  std::ranges::stable_sort(seals_by_identity_, {}, &LedgerSeal::identity);
  const auto is_again = [&](const LedgerSeal* seal) { return seal_of(seal->identity) != seal; };
  seals_.erase(std::remove_if(seals_.begin(), seals_.end(), is_again), seals_.end());
  seals_by_words_ = seals_;
  std::ranges::sort(seals_by_words_, {}, words_of);
}

Judging::Files Judging::with_identity(const Sha256& identity) const {
  return those_with(by_identity_, identity, identity_of);
}

Judging::Files Judging::with_sequence(const SequenceKey& key) const {
  return those_with(by_sequence_, key, sequence_key_of);
}

bool Judging::holds_digest(const Sha256& digest) const {
  return std::ranges::binary_search(by_digest_, digest, {}, digest_of);
}

bool Judging::hinted(const std::string& job, std::uint64_t base, std::uint64_t revision,
                     std::uint64_t sequence) const {
  const auto found = hinted_.find(job);
  return found != hinted_.end() && std::ranges::any_of(found->second, [&](const FileFacts* facts) {
           return *facts->hint == BundleHint{job, base, revision, sequence};
         });
}

bool Judging::any_hinted(const std::string& job) const { return hinted_.contains(job); }

const LedgerSeal* Judging::seal_of(const Sha256& identity) const {
  const auto at = std::ranges::lower_bound(seals_by_identity_, identity, {}, &LedgerSeal::identity);
  return at == seals_by_identity_.end() || (*at)->identity != identity ? nullptr : *at;
}

const LedgerSeal* Judging::seal_for(const BundleHint& hint) const {
  const SealWords words(hint.job, hint.base, hint.revision, hint.sequence);
  const auto found = those_with(seals_by_words_, words, words_of);
  return found.size() == 1 ? found.front() : nullptr;
}

std::string Judging::place_of(const std::string& job, const std::string& controller, std::uint64_t base,
                              std::uint64_t revision, std::uint64_t sequence) const {
  const auto folder = folder_of_job_.find({job, controller});
  if (folder == folder_of_job_.end()) return {};
  if (earlier_ != nullptr) {
    const std::string within = join_path(folder->second, base_folder(base)) + "/";
    for (auto at = std::ranges::lower_bound(earlier_->files, within, {}, &FileFacts::path);
         at != earlier_->files.end() && at->path.starts_with(within); ++at) {
      if (at->revision && at->revision->revision == revision && at->revision->sequence == sequence)
        return at->path;
    }
  }
  return join_path(folder->second, bundle_file(base, revision));
}

Finding& Judging::find(FindingCode code, std::string path, std::string subject, std::string text) {
  by_path_[path].push_back(findings_.size());
  Finding finding;
  finding.code = code;
  finding.path = std::move(path);
  finding.subject = std::move(subject);
  finding.text = std::move(text);
  findings_.push_back(std::move(finding));
  return findings_.back();
}

bool Judging::any_at(const std::string& path) const {
  const auto found = by_path_.find(path);
  return found != by_path_.end() && std::ranges::any_of(found->second, [&](std::size_t i) {
           return findings_[i].severity() != Severity::kNote;
         });
}

void Judging::want_at(const std::string& path, const WantedFile& wanted) {
  const auto found = by_path_.find(path);
  if (found == by_path_.end()) return;
  for (const std::size_t i : found->second) {
    std::optional<WantedFile>& there = findings_[i].wanted;
    if (!there || there->by == WantedFile::By::kPlace) there = wanted;
  }
}

std::vector<Finding> Judging::take_findings() {
  std::ranges::stable_sort(findings_, comes_before);
  findings_.erase(std::unique(findings_.begin(), findings_.end(), is_same_finding), findings_.end());
  return std::move(findings_);
}

std::uint64_t Judgement::count(Severity severity) const {
  return static_cast<std::uint64_t>(std::ranges::count_if(findings, [&](const Finding& finding) {
    return finding.age != FindingAge::kGone && finding.severity() == severity;
  }));
}

namespace {

// Whether somebody would notice another byte in it without a record: it is signed, bound, or named by a
// digest.
bool is_proved(const FileFacts& facts, const std::set<Sha256>& named) {
  switch (facts.kind) {
    case FileKind::kBundle:
    case FileKind::kTrustFile:
    case FileKind::kSuccession:
    case FileKind::kWithdrawals:
    case FileKind::kJobList:
    case FileKind::kApproval:
    case FileKind::kLedgerEntries:
    case FileKind::kLedgerDetails:
    case FileKind::kLedgerTip:
    case FileKind::kLedgerHead:
    case FileKind::kReceipt:
      return true;
    case FileKind::kSalt:
      return facts.salt && named.contains(*facts.salt);
    default:
      return facts.digest && named.contains(*facts.digest);
  }
}

std::set<Sha256> named_digests(const AuditRecord& record) {
  std::set<Sha256> named;
  for (const FileFacts& facts : record.files) {
    if (facts.job) {
      for (const NamedDigest& attached : facts.job->attached) named.insert(attached.digest);
      for (const NamedDigest& parcel : facts.job->parcels) named.insert(parcel.digest);
    }
    if (!facts.revision) continue;
    named.insert(facts.revision->map);
    if (facts.revision->salt) named.insert(*facts.revision->salt);
    named.insert(facts.revision->options.begin(), facts.revision->options.end());
    for (const NamedDigest& received : facts.revision->received) named.insert(received.digest);
  }
  return named;
}

void count_files(const AuditRecord& record, Judgement& judgement) {
  const std::set<Sha256> named = named_digests(record);
  std::set<std::pair<std::string, std::string>> jobs;
  for (const FileFacts& facts : record.files) {
    if (facts.kind == FileKind::kBundle) ++judgement.bundles;
    if (facts.proof == Proof::kProved) ++judgement.proved;
    if (facts.ledger) ++judgement.ledgers;
    if (facts.revision) jobs.insert({facts.revision->job, facts.revision->controller});
    if (!is_proved(facts, named)) ++judgement.unproved_files;
  }
  judgement.jobs = jobs.size();
}

}  // namespace

Judgement judge_record(const AuditRecord& record, const AuditRecord* earlier,
                       std::optional<std::uint64_t> expected) {
  Judging judging(record, earlier);
  judge_extent(judging, expected);
  judge_files(judging);
  // A run that was cut off knows nothing of what it did not come to.
  if (record.whole) {
    judge_chains(judging);
    judge_ledgers(judging);
    judge_job_folders(judging);
    judge_vehicle_jobs(judging);
    judge_parcels(judging);
    judge_places(judging);
    if (earlier != nullptr) judge_against_earlier(judging);
  }
  Judgement judgement;
  judgement.scope = record.scope;
  judgement.whole = record.whole;
  judgement.looked_at = record.files.size();
  count_files(record, judgement);
  judgement.findings = judging.take_findings();
  return judgement;
}

void compare_findings(Judgement& judgement, const std::vector<Finding>& earlier) {
  judgement.compared = true;
  std::vector<Finding> gone;
  for (Finding& finding : judgement.findings) finding.age = FindingAge::kNew;
  for (const Finding& before : earlier) {
    if (before.age == FindingAge::kGone) continue;
    const auto at = std::ranges::lower_bound(judgement.findings, before, comes_before);
    if (at != judgement.findings.end() && is_same_finding(*at, before)) {
      at->age = FindingAge::kStill;
    } else if (judgement.whole) {
      gone.push_back(before);
      gone.back().age = FindingAge::kGone;
      gone.back().wanted.reset();
    }
  }
  judgement.findings.insert(judgement.findings.end(), std::make_move_iterator(gone.begin()),
                            std::make_move_iterator(gone.end()));
  std::ranges::stable_sort(judgement.findings, comes_before);
}

}  // namespace calseal
