#include <algorithm>

#include "calseal/archive/judging.h"

namespace calseal {
namespace {

bool is_below(std::string_view path, std::string_view folder) {
  return path.starts_with(folder) && (path.size() == folder.size() || path[folder.size()] == '/');
}

// Where a folder could not be read, that is what is said of it.
bool is_unseen(const AuditScope& scope, const std::string& folder) {
  if (scope.folders.size() == 1) return !scope.unreadable.empty();
  return std::ranges::any_of(scope.unreadable,
                             [&](const std::string& path) { return is_below(path, folder); });
}

bool is_empty(const AuditRecord& record, const std::string& folder) {
  if (record.scope.folders.size() == 1) return record.scope.files == 0 && record.files.empty();
  const std::string within = folder.ends_with('/') ? folder : folder + "/";
  const auto at = std::ranges::lower_bound(record.files, within, {}, &FileFacts::path);
  return at == record.files.end() || !at->path.starts_with(within);
}

}  // namespace

void judge_extent(Judging& judging, std::optional<std::uint64_t> expected) {
  const AuditRecord& record = judging.record();
  const AuditScope& scope = record.scope;
  if (expected != 0 && record.whole) {
    for (const std::string& folder : scope.folders) {
      if (is_empty(record, folder) && !is_unseen(scope, folder))
        judging.find(FindingCode::kArchiveEmpty, scope.folders.size() == 1 ? "." : folder, "", "no file");
    }
  }
  const std::string here = std::to_string(scope.files) + (scope.files == 1 ? " file" : " files");
  if (expected) {
    if (scope.files >= *expected) return;
    judging.find(FindingCode::kFilesFewer, "", "",
                 here + ", and at least " + std::to_string(*expected) + " are expected");
  } else if (judging.earlier() != nullptr && scope.files < judging.earlier()->scope.files / 2) {
    judging.find(FindingCode::kFilesFewer, "", "",
                 here + ", and " + std::to_string(judging.earlier()->scope.files) + " at the earlier audit");
  }
}

}  // namespace calseal
