#include "calseal/trust/ledger_entry.h"

#include <array>

#include "calseal/base/text.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 9> kNames{"sealed",  "sent",      "received",  "cautions-accepted",
                                                 "written", "confirmed", "withdrawn", "closed",
                                                 "erased"};

LedgerEntry read_fields(JsonObject& object) {
  LedgerEntry entry;
  entry.kind = static_cast<EntryKind>(object.choice("kind", {kNames.begin(), kNames.end()}));
  entry.claimed_time = read_time(object, "claimed_time");
  entry.subject = read_digest(object, "subject");
  return entry;
}

}  // namespace

std::string_view entry_kind_name(EntryKind kind) { return kNames[static_cast<std::size_t>(kind)]; }

std::optional<EntryKind> find_entry_kind(std::string_view name) {
  for (std::size_t i = 0; i < kNames.size(); ++i) {
    if (kNames[i] == name) return static_cast<EntryKind>(i);
  }
  return std::nullopt;
}

std::string write_ledger_entry(const LedgerEntry& entry) {
  return canonical_json(json_object({{"calseal", json("entry/1")},
                                     {"kind", json(entry_kind_name(entry.kind))},
                                     {"claimed_time", json(entry.claimed_time)},
                                     {"subject", json_digest(entry.subject)}}));
}

Result<LedgerEntry> parse_ledger_entry(ByteView line, Reason damaged, const std::string& name) {
  if (!text_of(line).starts_with(kEntryLiteral)) {
    return fail({damaged, name, "entry", "\"" + printable(text_of(line), 60) + "\"",
                 std::string(kEntryLiteral), "get the file again, unchanged"});
  }
  return parse_canonical_text(line, damaged, read_fields, write_ledger_entry, name);
}

}  // namespace calseal
