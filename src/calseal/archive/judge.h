// Judging what an audit saw: files by themselves, then together; against the ledger, and against what an
// earlier audit saw.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/archive/finding.h"
#include "calseal/archive/record.h"

namespace calseal {

struct Judgement {
  AuditScope scope;
  bool whole = true;  // every file was looked at
  std::uint64_t looked_at = 0;
  std::uint64_t bundles = 0, proved = 0, jobs = 0, ledgers = 0;
  // Files that nothing proves, so that only a record of an earlier audit tells when they change.
  std::uint64_t unproved_files = 0;
  bool compared = false;          // with an earlier audit
  std::vector<Finding> findings;  // in their order; those that are gone too

  std::uint64_t count(Severity severity) const;  // gone ones left out
  bool clean() const { return whole && count(Severity::kError) + count(Severity::kWarning) == 0; }
};

// The same record gives the same judgement. `earlier`: the record of an audit before this one, for what
// stands only by having stood there; nothing: none. `expected`: at least so many files; 0 permits an empty
// archive. Linear in the record.
Judgement judge_record(const AuditRecord& record, const AuditRecord* earlier,
                       std::optional<std::uint64_t> expected = std::nullopt);

// Says of every finding whether an earlier audit had it, and lists those that are gone.
void compare_findings(Judgement& judgement, const std::vector<Finding>& earlier);

}  // namespace calseal
