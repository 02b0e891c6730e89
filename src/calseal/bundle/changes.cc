#include "calseal/bundle/changes.h"

#include <algorithm>
#include <set>

#include "calseal/base/json_text.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

// The tree of a text is many times its size; a text with more values than the limit allows never becomes one.
Status check_value_count(std::string_view text, const std::string& name) {
  constexpr std::size_t kMarksPerChange = 8;  // six in the form, one in a name like "blocks[0]"
  const auto marks = static_cast<std::size_t>(
      std::count_if(text.begin(), text.end(), [](char c) { return c == ',' || c == '[' || c == '{'; }));
  if (marks <= kMarksPerChange * (kChangeLimit + 1)) return {};
  return fail({Reason::kJsonValue, name, "/changes", grouped(marks) + " commas and opening brackets",
               "at most " + grouped(kChangeLimit) + " changes", "do not use this file"});
}

Status check_order(const std::vector<Change>& changes, const std::string& name) {
  std::set<std::string_view> left;  // memories whose ranges are over
  for (std::size_t i = 1; i < changes.size(); ++i) {
    const NamedRange& before = changes[i - 1].place;
    const NamedRange& here = changes[i].place;
    if (before.memory != here.memory) left.insert(before.memory);
    const bool in_order =
        before.memory == here.memory ? before.range.end <= here.range.begin : !left.contains(here.memory);
    if (in_order) continue;
    return fail({Reason::kManifestInvalid, name, "/changes/" + std::to_string(i),
                 here.memory + " " + range_text(here.range) + " after " + before.memory + " " +
                     range_text(before.range),
                 "the ranges of one memory together, ascending, disjoint",
                 "do not use this bundle; ask its sender for a new one"});
  }
  return {};
}

}  // namespace

std::string write_changes(const std::vector<Change>& changes) {
  JsonText text;
  text.object([&] {
    text.member("calseal", "changes/1");
    text.array("changes", changes, [&](const Change& change) {
      text.object([&] {
        text.member("memory", change.place.memory);
        text.member("start", address_text(change.place.range.begin));
        text.member("size", change.place.range.size());
        text.member("region", change.region);
        text.member("option", change.option);
      });
    });
  });
  return text.take();
}

Result<std::vector<Change>> parse_changes(ByteView bytes, const std::string& name) {
  if (bytes.size() > kChangesSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(bytes.size()) + " bytes",
                 "at most " + grouped(kChangesSizeLimit) + " bytes", "do not use this file"});
  }
  CALSEAL_CHECK(check_kind(bytes, kChangesLiteral, name));
  CALSEAL_CHECK(check_value_count(text_of(bytes), name));
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text_of(bytes), name));
  JsonDocument document(text_of(bytes), name);
  JsonObject top(JsonNode(document, tree));
  top.text("calseal");
  std::vector<Change> changes;
  for (const JsonNode& node : top.items("changes", kChangeLimit)) {
    JsonObject object(node);
    Change change;
    change.place.memory = read_name(object, "memory");
    change.place.range = read_range(object);
    change.region = read_line(object, "region");
    change.option = read_optional_name(object, "option");
    object.done();
    if (!document.ok()) break;
    changes.push_back(std::move(change));
  }
  top.done();
  if (!document.ok()) return fail(document.error());
  CALSEAL_CHECK(check_canonical(bytes, write_changes(changes), name));
  CALSEAL_CHECK(check_order(changes, name));
  return changes;
}

}  // namespace calseal
