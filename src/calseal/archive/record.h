// The record of an audit: what was looked at, and the facts of every file. A run writes it down as it goes,
// so that it can be taken up again; parts of a run are joined by it; a later audit compares with it.
//
// JSON lines: what was audited, then facts, ascending by path, then {"end":files,"digest":SHA-256 of all
// bytes before that line}. Two runs over one tree at one depth write the same bytes.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/archive/facts.h"
#include "calseal/archive/survey.h"
#include "calseal/base/result.h"

namespace calseal {

inline constexpr std::uint64_t kRecordSizeLimit = std::uint64_t{4} << 30;  // bytes

struct AuditScope {
  std::vector<std::string> folders;  // as named
  Depth depth = Depth::kStored;
  Sha256 trust;              // SHA-256 of the trust file
  std::vector<KeyId> roots;  // its root, then those before it
  Part part;
  // Of the whole tree, whichever part this is.
  std::uint64_t files = 0, bytes = 0;
  Sha256 survey;
  std::vector<std::string> unreadable, links, others;
  std::vector<std::string> causes;  // why each of `unreadable` is; empty in older records
  friend bool operator==(const AuditScope&, const AuditScope&) = default;
};
AuditScope scope_of(const Survey& survey);  // depth, trust and part are left to the caller

struct AuditRecord {
  AuditScope scope;
  std::vector<FileFacts> files;  // ascending by path
  bool whole = true;             // false: the run was interrupted, and some files were not looked at

  const FileFacts* find(std::string_view path) const;
};

// One line, without its end.
std::string write_scope(const AuditScope& scope);
std::string write_record(const AuditRecord& record);
// kAuditRecordInvalid; a record that was not finished is read as far as it goes, and is not `whole`.
Result<AuditRecord> parse_record(std::string_view text, const std::string& name);

// Parts of one run, in any order: the record of the whole. kAuditRecordOther when they do not belong
// together, or one is missing, not whole or there twice.
Result<AuditRecord> join_records(std::vector<AuditRecord> parts);

}  // namespace calseal
