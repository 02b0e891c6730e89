// A revision as a page: what it changes and where, what that does to values and checksums, who sealed it, and
// what the checker says.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"
#include "calseal/map/read.h"

namespace calseal {

// Plain pointers: the caller keeps everything alive.
struct RevisionView {
  std::string name;                         // of the bundle's file, printable
  const OpenedBundle* opened = nullptr;     // nothing: it could not even be read, and the verdict says why
  const Verdict* verdict = nullptr;         // nothing: no trust file was given, so nothing was verified
  std::vector<const OpenedBundle*> beside;  // other bundles of its job, verified by nothing but their digests
  const Image* read = nullptr;              // the controller's own read
  std::string tool;
};

// The whole file.
std::string revision_html(const RevisionView& view);

// For --json: {"kind","verdict","reason","identity","changed_bytes","values_before","values_after"}; the last
// two count changed bytes whose value is known on that side.
JsonValue revision_summary_json(const RevisionView& view);

}  // namespace calseal
