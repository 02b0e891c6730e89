#include "calseal/job/event.h"

#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/option/option_file.h"

namespace calseal {
namespace {

void measured_fields(Fields& field, LogFacts& log) {
  field("rows", log.rows, Integer{});
  field("columns", log.columns, Integer{});
  field("time_column", log.time_column, Text{});
  field("unit", log.unit, Text{8});
  field("first", log.first, Text{64});
  field("last", log.last, Text{64});
  field("gaps", log.gaps, Integer{});
  field("longest_gap", log.longest_gap, Text{64});
  field("encoding", log.encoding, Text{16});
  field("separator", log.separator, Text{16});
}

void log_fields(Fields& field, LogFacts& log) {
  field.either(
      "unread", !log.unread.empty(), [&](Fields& fields) { fields("unread", log.unread, Text{200}); },
      [&](Fields& fields) { measured_fields(fields, log); });
  field("by", log.by, Text{32});
}

void parcel_facts_fields(Fields& field, ParcelFacts& parcel) {
  field("key", parcel.key, kDigest);
  field("number", parcel.number, Integer{1, kSequenceLimit});
}

}  // namespace

void event_fields(Fields& field, Event& event) {
  field("time", event.time, kTime);
  field("event", event.kind, Choice{kEventNames});
  field("base", event.base, Integer{1, kBaseLimit});
  field.optional("revision", event.revision, Integer{0, kRevisionLimit});
  field.optional("sequence", event.sequence, Integer{1, kSequenceLimit});
  field.optional("identity", event.identity, kDigest);
  field.unless("", "detail", event.detail, kLine);
  field.unless("", "file", event.file, Text{});
  field.optional("digest", event.digest, kDigest);
  field.optional("log", event.log, Record{log_fields});
  field.optional("parcel", event.parcel, Record{parcel_facts_fields});
  field.optional("options", event.options, List{kName, kOptionTogetherLimit});
}

std::string write_event(const Event& event) { return canonical_text(event, event_fields) + "\n"; }

std::string event_words(const Event& event) {
  if (!event.detail.empty()) return event.detail;
  if (!event.options) return event.file;
  std::string names;
  for (const std::string& name : *event.options) names += (names.empty() ? "" : ", ") + name;
  return names.empty() ? "nothing" : names;
}

EventList parse_events(std::string_view text, const std::string& name) {
  EventList list;
  for (std::uint64_t number = 1; !text.empty(); ++number) {
    const std::size_t end = text.find('\n');
    const std::string_view line = text.substr(0, end);
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    if (line.empty()) continue;
    if (Result<Event> event = parse_fields(line, event_fields, name)) {
      list.events.push_back(*std::move(event));
    } else {
      list.broken.push_back({number, event.error()});
    }
  }
  return list;
}

}  // namespace calseal
