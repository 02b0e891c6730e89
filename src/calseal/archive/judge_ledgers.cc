#include <algorithm>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"
#include "calseal/ledger/layout.h"

namespace calseal {
namespace {

// Every signed head speaks for its ledger, wherever it lies: one finding for each ledger that is not here.
void judge_gone(Judging& judging) {
  for (const auto& [id, heads] : judging.gone_ledgers()) {
    const auto newest =
        std::ranges::max_element(heads, {}, [](const FileFacts* head) { return head->statement->number; });
    const StatementClaim& head = *(*newest)->statement;
    const std::string many = heads.size() == 1 ? "a signed head tells of it"
                                               : std::to_string(heads.size()) + " signed heads tell of it";
    judging.find(FindingCode::kLedgerGone, (*newest)->path, "ledger " + digest_text(id),
                 many + ", the newest of " + head.claimed_time + " (claimed) with " +
                     std::to_string(head.number) + (head.number == 1 ? " entry" : " entries"));
  }
}

// Parts of a ledger whose entries are gone.
void judge_orphans(Judging& judging) {
  for (const FileFacts& facts : judging.record().files) {
    if (facts.kind != FileKind::kLedgerDetails && facts.kind != FileKind::kLedgerTip) continue;
    const std::string entries = join_path(folder_of(facts.path), kEntriesFile);
    const FileFacts* const there = judging.record().find(entries);
    if (there != nullptr && there->kind == FileKind::kLedgerEntries) continue;
    Finding& finding = judging.find(FindingCode::kLedgerUnreadable, entries, "",
                                    there == nullptr ? "the entries of this ledger are gone"
                                                     : "the entries of this ledger begin as no ledger does");
    finding.wanted = WantedFile{WantedFile::By::kPlace, entries, {}, FileKind::kLedgerEntries, std::nullopt};
  }
}

void judge_bundle(Judging& judging, const FileFacts& facts, bool all_known) {
  const RevisionClaim& claim = *facts.revision;
  if (judging.seal_of(claim.identity) != nullptr) return;
  const LedgerSeal* const seal = judging.seal_for({claim.job, claim.base, claim.revision, claim.sequence});
  if (seal != nullptr) {
    Finding& finding = judging.find(FindingCode::kAltered, facts.path, revision_subject(claim),
                                    "the ledger knows another revision with this number");
    finding.wanted =
        WantedFile{WantedFile::By::kIdentity, facts.path, seal->identity, FileKind::kBundle, std::nullopt};
    return;
  }
  if (!all_known) return;
  // A forged or damaged one was never to be entered.
  if (facts.fault && facts.proof != Proof::kFailed) return;
  judging.find(FindingCode::kExtra, facts.path, revision_subject(claim), "the ledger does not know it");
}

// Whether all entries of all ledgers are known, so that what is in none of them was never entered.
bool knows_all_entries(const Judging& judging) {
  return std::ranges::none_of(judging.record().files, [](const FileFacts& facts) {
    return facts.ledger && hides_entries(*facts.ledger);
  });
}

void judge_absence(Judging& judging, const Sha256& identity, const std::string& job,
                   const std::string& controller, std::uint64_t base, std::uint64_t revision,
                   std::uint64_t sequence, const std::string& by) {
  if (!judging.with_identity(identity).empty()) return;
  if (!judging.with_sequence({job, controller, sequence}).empty()) return;  // said there: altered, or forked
  if (judging.hinted(job, base, revision, sequence)) return;                // it is there, damaged
  std::string path = judging.place_of(job, controller, base, revision, sequence);
  if (path.empty()) path = judging.earlier_place_of(identity);
  Finding& finding =
      judging.find(FindingCode::kMissing, path, revision_subject(job, controller, base, revision),
                   "sealed, by " + by + ", and nowhere in the archive");
  finding.wanted = WantedFile{WantedFile::By::kIdentity, path, identity, FileKind::kBundle, std::nullopt};
}

// What a job's own notes say was sealed; weaker than a ledger, and asked only where there is none.
void judge_by_notes(Judging& judging) {
  for (const FileFacts& facts : judging.record().files) {
    if (facts.kind != FileKind::kJobEvents || !facts.job) continue;
    const std::string folder(folder_of(facts.path));
    const FileFacts* const job = judging.record().find(join_path(folder, "job.json"));
    if (job == nullptr || !job->job) continue;
    for (const JobClaim::Sealed& sealed : facts.job->sealed) {
      judge_absence(judging, sealed.identity, job->job->job, job->job->controller, sealed.base,
                    sealed.revision, sealed.sequence, "the job's notes");
    }
  }
}

void judge_by_lists(Judging& judging) {
  for (const FileFacts& facts : judging.record().files) {
    if (facts.kind != FileKind::kJobList || !facts.statement) continue;
    for (const Sha256& identity : facts.statement->names) {
      if (!judging.with_identity(identity).empty() || judging.seal_of(identity) != nullptr ||
          judging.any_hinted(facts.statement->job))
        continue;
      Finding& finding = judging.find(FindingCode::kMissing, "", "revision " + digest_text(identity),
                                      "listed by " + facts.path + ", and nowhere in the archive");
      finding.wanted = WantedFile{WantedFile::By::kIdentity, "", identity, FileKind::kBundle, std::nullopt};
    }
  }
}

}  // namespace

void judge_ledgers(Judging& judging) {
  for (const FileFacts& facts : judging.record().files) {
    if (facts.ledger) judge_ledger(judging, facts);
  }
  judge_gone(judging);
  judge_orphans(judging);
  judge_by_lists(judging);
  if (!judging.has_ledger()) {
    judge_by_notes(judging);
    judging.find(FindingCode::kNoLedger, "", "", "what is missing shows by the chains and notes alone");
    return;
  }
  for (const LedgerSeal* seal : judging.seals()) {
    judge_absence(judging, seal->identity, seal->job, seal->controller, seal->base, seal->revision,
                  seal->sequence, "entry " + std::to_string(seal->index) + " of the ledger");
  }
  const bool all_known = knows_all_entries(judging);
  for (const FileFacts& facts : judging.record().files) {
    if (facts.revision) judge_bundle(judging, facts, all_known);
  }
}

}  // namespace calseal
