#include <algorithm>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"

namespace calseal {
namespace {

// What every signed file can be refused for.
std::optional<FindingCode> code_of_signature(Reason reason) {
  switch (reason) {
    case Reason::kSignatureBad:
      return FindingCode::kSignatureBad;
    case Reason::kSignatureMissing:
      return FindingCode::kSignatureMissing;
    case Reason::kSignerUnknown:
      return FindingCode::kSignerUnknown;
    case Reason::kKeyValidity:
      return FindingCode::kKeyNotValid;
    case Reason::kKeyCompromised:
    case Reason::kInclusionInvalid:
      return FindingCode::kKeyCompromised;
    case Reason::kKeyScope:
      return FindingCode::kKeyOutOfScope;
    case Reason::kRolesMissing:
      return FindingCode::kRolesMissing;
    default:
      return std::nullopt;
  }
}

FindingCode code_of_proof(Reason reason) {
  switch (reason) {
    case Reason::kContentDigest:
    case Reason::kManifestInvalid:
      return FindingCode::kBundleDamaged;
    case Reason::kChangeSigned:
    case Reason::kChangePatch:
    case Reason::kChangeLocked:
    case Reason::kChangeVolatile:
      return FindingCode::kNotConfined;
    case Reason::kChecksumFails:
    case Reason::kChecksumNotProvable:
    case Reason::kCopyOneSided:
    case Reason::kDerivedWrong:
      return FindingCode::kChecksumWrong;
    case Reason::kResultMismatch:
    case Reason::kReadForeign:
    case Reason::kReadIncomplete:
    case Reason::kSaltWrong:
    case Reason::kVehicleMismatch:
      return FindingCode::kResultWrong;
    default:
      return FindingCode::kClaimWrong;
  }
}

FindingCode code_of(const FileFacts& facts) {
  const Reason reason = facts.fault->reason;
  switch (reason) {
    case Reason::kFileUnreadable:
    case Reason::kFileMissing:
    case Reason::kOutOfMemory:
      return FindingCode::kFileUnreadable;
    default:
      break;
  }
  if (facts.kind == FileKind::kLedgerEntries) return FindingCode::kLedgerUnreadable;
  if (facts.proof == Proof::kFailed) return code_of_proof(reason);
  if (const auto code = code_of_signature(reason)) return *code;
  if (facts.kind != FileKind::kBundle) return FindingCode::kFileDamaged;
  return reason == Reason::kFormatUnknown ? FindingCode::kFormatUnknown : FindingCode::kBundleDamaged;
}

// What should stand in the place of a bundle that does not hold.
WantedFile wanted_bundle(const Judging& judging, const FileFacts& facts) {
  WantedFile wanted{WantedFile::By::kPlace, facts.path, {}, FileKind::kBundle, facts.hint};
  if (facts.revision) {
    wanted.by = WantedFile::By::kIdentity;
    wanted.digest = facts.revision->identity;
    // A forged one may name itself as it likes; the ledger knows what was sealed.
    const BundleHint said{facts.revision->job, facts.revision->base, facts.revision->revision,
                          facts.revision->sequence};
    const LedgerSeal* const seal = judging.seal_for(said);
    if (seal != nullptr) wanted.digest = seal->identity;
  } else if (facts.hint) {
    if (const LedgerSeal* const seal = judging.seal_for(*facts.hint)) {
      wanted.by = WantedFile::By::kIdentity;
      wanted.digest = seal->identity;
    }
  }
  return wanted;
}

void judge_bundle_name(Judging& judging, const FileFacts& facts) {
  if (facts.kind == FileKind::kBundle || !facts.path.ends_with(".calseal") || facts.fault) return;
  Finding& finding =
      judging.find(FindingCode::kBundleDamaged, facts.path, "", "named as a bundle, and begins as none");
  finding.fault =
      Error{Reason::kNotABundle,      "", "byte 0", std::string(file_kind_name(facts.kind)), "a bundle",
            "put it back from a copy"};
  finding.wanted = WantedFile{WantedFile::By::kPlace, facts.path, {}, FileKind::kBundle, std::nullopt};
}

// A statement that lost its beginning is no file of another kind, and nothing else may miss it.
void judge_statement_name(Judging& judging, const FileFacts& facts) {
  constexpr std::pair<std::string_view, FileKind> kEndings[] = {{".head", FileKind::kLedgerHead},
                                                                {".trust", FileKind::kTrustFile},
                                                                {".withdrawals", FileKind::kWithdrawals}};
  if ((facts.kind != FileKind::kUnknown && facts.kind != FileKind::kEmpty) || facts.fault) return;
  for (const auto& [ending, kind] : kEndings) {
    if (!facts.path.ends_with(ending)) continue;
    Finding& finding =
        judging.find(FindingCode::kFileDamaged, facts.path, "",
                     "named as a " + std::string(file_kind_name(kind)) + ", and begins as none");
    finding.wanted = WantedFile{WantedFile::By::kPlace, facts.path, {}, kind, std::nullopt};
  }
}

void judge_file(Judging& judging, const FileFacts& facts) {
  judge_bundle_name(judging, facts);
  judge_statement_name(judging, facts);
  if (facts.fault) {
    const std::string subject = facts.revision ? revision_subject(*facts.revision) : std::string();
    Finding& finding =
        judging.find(code_of(facts), facts.path, subject,
                     (facts.fault->place.empty() ? "" : facts.fault->place + ": ") + facts.fault->found);
    finding.fault = facts.fault;
    finding.wanted = facts.kind == FileKind::kBundle
                         ? wanted_bundle(judging, facts)
                         : WantedFile{WantedFile::By::kPlace, facts.path, {}, facts.kind, std::nullopt};
    return;
  }
  if (facts.proof == Proof::kNoBase) {
    judging.find(FindingCode::kBaseMissing, facts.path, revision_subject(*facts.revision),
                 "neither rebuilt nor proved");
  }
  if (facts.revision && facts.revision->incomplete) {
    judging.find(FindingCode::kRolesMissing, facts.path, revision_subject(*facts.revision),
                 "sealed, and a required role has not signed");
  }
  if (facts.kind == FileKind::kTrustFile && facts.statement && !facts.statement->names.empty() &&
      std::ranges::count(judging.record().scope.roots, facts.statement->names.front()) == 0) {
    judging.find(FindingCode::kTrustForeign, facts.path,
                 "root " + digest_text(facts.statement->names.front()),
                 "not the root of this audit's trust file, nor one before it");
  }
  if (facts.kind == FileKind::kJobEvents && facts.job && facts.job->broken_lines != 0) {
    judging.find(FindingCode::kNotesDamaged, facts.path, "",
                 std::to_string(facts.job->broken_lines) + " lines cannot be read");
  }
}

}  // namespace

void judge_files(Judging& judging) {
  const AuditScope& scope = judging.record().scope;
  for (std::size_t i = 0; i < scope.unreadable.size(); ++i) {
    const std::string cause = i < scope.causes.size() ? ": " + scope.causes[i] : "";
    judging.find(FindingCode::kFolderUnreadable, scope.unreadable[i], "", "not looked at" + cause);
  }
  for (const std::string& path : scope.links) judging.find(FindingCode::kLinkNotFollowed, path, "", "a link");
  for (const std::string& path : scope.others)
    judging.find(FindingCode::kNotAFile, path, "", "a device, a pipe or a socket");
  for (const FileFacts& facts : judging.record().files) judge_file(judging, facts);
}

}  // namespace calseal
