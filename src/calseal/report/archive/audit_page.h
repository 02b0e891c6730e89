// An audit as a page to read, to print and to keep.
#pragma once

#include <string>

#include "calseal/archive/judge.h"
#include "calseal/base/json.h"

namespace calseal {

struct AuditView {
  const AuditRecord* record = nullptr;
  const Judgement* judgement = nullptr;  // of that record
  std::string tool;                      // program and version
};

// The same inputs give the same bytes. Lists end where they say so; the audit's other reports have all.
std::string audit_html(const AuditView& view);

// {"kind":"audit", "depth", "whole", "files", "errors", "warnings", "notes", "new", "still_there", "gone"}
JsonValue audit_summary_json(const AuditView& view);

// What stands on top, in a word or two: "clean", "2 errors, 1 warning".
std::string audit_words(const Judgement& judgement);

}  // namespace calseal
