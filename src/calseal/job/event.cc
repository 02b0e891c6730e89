#include "calseal/job/event.h"

#include <array>

#include "calseal/base/json_reader.h"
#include "calseal/base/json_write.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 11> kNames{"opened",       "sealed",  "reissued",  "sent",
                                                  "acknowledged", "written", "confirmed", "withdrawn",
                                                  "driven",       "carried", "remark"};

LogFacts read_log(const JsonNode& node) {
  JsonObject object(node);
  LogFacts log;
  if (object.has("unread")) {
    log.unread = object.text("unread", 200);
    log.by = object.text("by", 32);
    object.done();
    return log;
  }
  log.rows = object.integer("rows", 0, kJsonIntegerLimit);
  log.columns = object.integer("columns", 0, kJsonIntegerLimit);
  log.time_column = object.text("time_column");
  log.unit = object.text("unit", 8);
  log.first = object.text("first", 64);
  log.last = object.text("last", 64);
  log.gaps = object.integer("gaps", 0, kJsonIntegerLimit);
  log.longest_gap = object.text("longest_gap", 64);
  log.encoding = object.text("encoding", 16);
  log.separator = object.text("separator", 16);
  log.by = object.text("by", 32);
  object.done();
  return log;
}

JsonValue log_json(const LogFacts& log) {
  if (!log.unread.empty()) return json_object({{"unread", json(log.unread)}, {"by", json(log.by)}});
  return json_object({{"rows", json(log.rows)},
                      {"columns", json(log.columns)},
                      {"time_column", json(log.time_column)},
                      {"unit", json(log.unit)},
                      {"first", json(log.first)},
                      {"last", json(log.last)},
                      {"gaps", json(log.gaps)},
                      {"longest_gap", json(log.longest_gap)},
                      {"encoding", json(log.encoding)},
                      {"separator", json(log.separator)},
                      {"by", json(log.by)}});
}

Result<Event> parse_event(std::string_view line, const std::string& name) {
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(line, name));
  JsonDocument document(line, name);
  JsonObject object(JsonNode(document, tree));
  Event event;
  event.time = read_time(object, "time");
  event.kind = static_cast<EventKind>(object.choice("event", {kNames.begin(), kNames.end()}));
  event.base = object.integer("base", 1, kBaseLimit);
  if (const auto node = object.optional("revision")) event.revision = node->integer(0, kRevisionLimit);
  if (const auto node = object.optional("identity")) event.identity = read_digest(*node);
  if (const auto node = object.optional("detail")) event.detail = read_line(*node);
  if (const auto node = object.optional("file")) event.file = node->text();
  if (const auto node = object.optional("digest")) event.digest = read_digest(*node);
  if (const auto node = object.optional("log")) event.log = read_log(*node);
  if (const auto node = object.optional("sequence")) event.sequence = node->integer(1, kSequenceLimit);
  object.done();
  if (!document.ok()) return fail(document.error());
  return event;
}

}  // namespace

std::string_view event_name(EventKind kind) { return kNames[static_cast<std::size_t>(kind)]; }

std::optional<EventKind> find_event(std::string_view name) {
  for (std::size_t i = 0; i < kNames.size(); ++i) {
    if (kNames[i] == name) return static_cast<EventKind>(i);
  }
  return std::nullopt;
}

JsonValue event_json(const Event& event) {
  JsonValue value = json_object(
      {{"time", json(event.time)}, {"event", json(event_name(event.kind))}, {"base", json(event.base)}});
  const auto add = [&](const char* key, JsonValue member) {
    value.members.emplace_back(key, std::move(member));
  };
  if (event.revision) add("revision", json(*event.revision));
  if (event.sequence) add("sequence", json(*event.sequence));
  if (event.identity) add("identity", json_digest(*event.identity));
  if (!event.detail.empty()) add("detail", json(event.detail));
  if (!event.file.empty()) add("file", json(event.file));
  if (event.digest) add("digest", json_digest(*event.digest));
  if (event.log) add("log", log_json(*event.log));
  return value;
}

std::string write_event(const Event& event) { return canonical_json(event_json(event)) + "\n"; }

EventList parse_events(std::string_view text, const std::string& name) {
  EventList list;
  for (std::uint64_t number = 1; !text.empty(); ++number) {
    const std::size_t end = text.find('\n');
    const std::string_view line = text.substr(0, end);
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    if (line.empty()) continue;
    if (Result<Event> event = parse_event(line, name)) {
      list.events.push_back(*std::move(event));
    } else {
      list.broken.push_back({number, event.error()});
    }
  }
  return list;
}

}  // namespace calseal
