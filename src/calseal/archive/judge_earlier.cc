#include <algorithm>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"

namespace calseal {
namespace {

bool is_numbered(FileKind kind) {
  return kind == FileKind::kTrustFile || kind == FileKind::kWithdrawals || kind == FileKind::kJobList;
}

// Kinds that change in the ordinary course of things, and are judged by what they say.
bool may_change(FileKind kind) {
  return kind == FileKind::kLedgerDetails || kind == FileKind::kLedgerTip ||
         kind == FileKind::kCheckerState || kind == FileKind::kAuditRecord;
}

WantedFile wanted_as_before(const FileFacts& before) {
  WantedFile wanted{WantedFile::By::kBytes, before.path, {}, before.kind, std::nullopt};
  if (before.revision && !before.fault) {
    wanted.by = WantedFile::By::kIdentity;
    wanted.digest = before.revision->identity;
  } else if (before.digest) {
    wanted.digest = *before.digest;
  } else {
    wanted.by = WantedFile::By::kPlace;
  }
  return wanted;
}

std::optional<std::pair<FindingCode, std::string>> change_between(const FileFacts& before,
                                                                  const FileFacts& now) {
  const auto changed = [](std::string text) { return std::pair(FindingCode::kFileChanged, std::move(text)); };
  if (now.fault) return std::nullopt;  // said already
  // An older calseal did not know what a vehicle.json is.
  if (before.kind == FileKind::kUnknown && now.kind == FileKind::kVehicleFacts && now.digest == before.digest)
    return std::nullopt;
  if (now.kind != before.kind) {
    return changed("was of kind " + std::string(file_kind_name(before.kind)) + ", now of kind " +
                   std::string(file_kind_name(now.kind)));
  }
  if (before.fault || may_change(now.kind)) return std::nullopt;
  if (now.revision && before.revision) {
    if (now.revision->identity == before.revision->identity) return std::nullopt;
    return changed("held " + revision_subject(*before.revision) + ", now holds " +
                   revision_subject(*now.revision) + ", or another one of that name");
  }
  if (now.continues) {
    if (*now.continues) return std::nullopt;
    return changed("what stood there was rewritten or cut; such a file only grows");
  }
  if (now.digest == before.digest) return std::nullopt;
  if (is_numbered(now.kind) && now.statement && before.statement) {
    if (now.statement->number > before.statement->number) return std::nullopt;
    if (now.statement->number < before.statement->number) {
      return std::pair(FindingCode::kStatementOlder, "number " + std::to_string(now.statement->number) +
                                                         ", was " + std::to_string(before.statement->number));
    }
  }
  return changed("other bytes than at the earlier audit");
}

}  // namespace

void judge_against_earlier(Judging& judging) {
  for (const FileFacts& before : judging.earlier()->files) {
    const FileFacts* const now = judging.record().find(before.path);
    if (judging.any_at(before.path)) {
      judging.want_at(before.path, wanted_as_before(before));
    } else if (now == nullptr) {
      if (before.kind == FileKind::kCheckerState || before.kind == FileKind::kAuditRecord) continue;
      judging
          .find(FindingCode::kFileGone, before.path, "",
                "was of kind " + std::string(file_kind_name(before.kind)))
          .wanted = wanted_as_before(before);
    } else if (const auto change = change_between(before, *now)) {
      judging.find(change->first, before.path, "", change->second).wanted = wanted_as_before(before);
    }
  }
}

}  // namespace calseal
