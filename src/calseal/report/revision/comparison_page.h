// Two images, or an edit that is about to be sealed, as a page to look at before anybody signs: what would
// change, where, and what a seal would refuse. A draft, and it says so.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/correct.h"
#include "calseal/report/changes/comparison_report.h"

namespace calseal {

// A file that was looked at.
struct ComparedFile {
  std::string side, name;  // "before"; printable
  Sha256 digest;
};

// The image after with its checks corrected, as a seal would have it, compared with the one before.
struct DraftComparison {
  Image after;
  CorrectionReport corrected;
  std::optional<Error> not_corrected;  // then `after` is as it was given
  Comparison comparison;               // its image after is the one above: never copy or move this

  DraftComparison() = default;
  DraftComparison(const DraftComparison&) = delete;
  DraftComparison& operator=(const DraftComparison&) = delete;
};
// `plan` is of `before`; both must outlive `draft`. Nothing is corrected where the map does not hold on
// `before`.
void compare_draft(const Plan& plan, const Image& before, Image after, DraftComparison& draft);

// Plain pointers: the caller keeps everything alive.
struct ComparisonView {
  std::string job;  // whose next revision it would be, printable; empty: none
  std::vector<ComparedFile> files;
  const DraftComparison* draft = nullptr;
  std::string tool;
};

// The whole file.
std::string comparison_html(const ComparisonView& view);

// For --json: {"kind":"comparison","confined","changed_bytes","corrected_bytes","refused_bytes","items",
// "violations"}.
JsonValue comparison_summary_json(const ComparisonView& view);

}  // namespace calseal
