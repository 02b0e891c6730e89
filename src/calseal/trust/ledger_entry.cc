#include "calseal/trust/ledger_entry.h"

#include "calseal/base/text.h"
#include "calseal/trust/statement.h"

namespace calseal {
std::string_view entry_kind_name(EntryKind kind) { return kEntryKindNames[static_cast<std::size_t>(kind)]; }

std::optional<EntryKind> find_entry_kind(std::string_view name) {
  return find_word<EntryKind>(kEntryKindNames, name);
}

void ledger_entry_fields(Fields& field, LedgerEntry& entry) {
  field.kind_of_file("entry/1");
  field("kind", entry.kind, Choice{kEntryKindNames});
  field("claimed_time", entry.claimed_time, kTime);
  field("subject", entry.subject, kDigest);
}

std::string write_ledger_entry(const LedgerEntry& entry) {
  return canonical_text(entry, ledger_entry_fields);
}

Result<LedgerEntry> parse_ledger_entry(ByteView line, Reason damaged, const std::string& name) {
  if (!text_of(line).starts_with(kEntryLiteral)) {
    return fail({damaged, name, "entry", "\"" + printable(text_of(line), 60) + "\"",
                 std::string(kEntryLiteral), "get the file again, unchanged"});
  }
  return parse_canonical_text(line, damaged, ledger_entry_fields, name);
}

}  // namespace calseal
