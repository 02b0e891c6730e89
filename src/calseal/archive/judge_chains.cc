#include <algorithm>

#include "calseal/archive/judging.h"

namespace calseal {
namespace {

bool is_later(const RevisionClaim& a, const RevisionClaim& b) { return a.sequence > b.sequence; }

void judge_parent(Judging& judging, const FileFacts& facts) {
  const RevisionClaim& claim = *facts.revision;
  if (!claim.parent) return;
  const Judging::Files parents = judging.with_identity(*claim.parent);
  if (parents.empty()) {
    // Said once: as missing by the ledger, or as a damaged file that may well be it.
    if (judging.seal_of(*claim.parent) != nullptr || judging.any_hinted(claim.job)) return;
    Finding& finding =
        judging.find(FindingCode::kParentMissing, facts.path, "parent " + digest_text(*claim.parent),
                     "the parent of " + revision_subject(claim) + " is nowhere");
    finding.wanted =
        WantedFile{WantedFile::By::kIdentity, "", *claim.parent, FileKind::kBundle, std::nullopt};
    return;
  }
  const RevisionClaim& parent = *parents.front()->revision;
  if (parent.job == claim.job && parent.controller == claim.controller && is_later(claim, parent)) return;
  judging.find(FindingCode::kParentWrong, facts.path, "parent " + digest_text(*claim.parent),
               revision_subject(claim) + " names " + revision_subject(parent) + ", sequence " +
                   std::to_string(parent.sequence) + ", as its parent");
}

void judge_fork(Judging& judging, const FileFacts& facts) {
  const RevisionClaim& claim = *facts.revision;
  const Judging::Files same = judging.with_sequence({claim.job, claim.controller, claim.sequence});
  const auto other = std::ranges::find_if(
      same, [&](const FileFacts* file) { return file->revision->identity != claim.identity; });
  if (other == same.end()) return;
  Finding& finding = judging.find(
      FindingCode::kForked, facts.path,
      "sequence " + std::to_string(claim.sequence) + " of job " + claim.job + ", " + claim.controller,
      "another revision with this number is " + (*other)->path);
  const LedgerSeal* const seal = judging.seal_for({claim.job, claim.base, claim.revision, claim.sequence});
  if (seal != nullptr && seal->identity != claim.identity)
    finding.wanted =
        WantedFile{WantedFile::By::kIdentity, facts.path, seal->identity, FileKind::kBundle, std::nullopt};
}

void judge_partners(Judging& judging, const FileFacts& facts) {
  const RevisionClaim& claim = *facts.revision;
  if (!claim.set || claim.revision == 0) return;
  for (const SetMember& member : claim.members) {
    if (member.controller == claim.controller) continue;
    const Judging::Files there = judging.with_sequence({claim.job, member.controller, member.sequence});
    const std::string subject = member.controller + ", sequence " + std::to_string(member.sequence) +
                                ", of set " + digest_text(*claim.set);
    if (there.empty()) {
      if (judging.any_hinted(claim.job)) continue;
      judging.find(FindingCode::kPartnerMissing, facts.path, subject,
                   "the partner is nowhere in the archive");
    } else if (std::ranges::none_of(
                   there, [&](const FileFacts* file) { return file->revision->set == claim.set; })) {
      judging.find(FindingCode::kPartnerWrong, facts.path, subject,
                   there.front()->path + " stands in its place and is of another set");
    }
  }
}

}  // namespace

void judge_chains(Judging& judging) {
  for (const FileFacts& facts : judging.record().files) {
    if (!facts.revision) continue;
    judge_parent(judging, facts);
    judge_fork(judging, facts);
    judge_partners(judging, facts);
  }
}

}  // namespace calseal
