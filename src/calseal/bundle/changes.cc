#include "calseal/bundle/changes.h"

#include <set>

#include "calseal/base/json_text.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr Record kChange{change_fields};

// The fields of a text, item by item, never as one tree.
Result<std::vector<Change>> read_changes(std::string_view text, const std::string& name) {
  static constexpr std::string_view kNames[] = {"calseal", "changes", "memory", "start",
                                                "size",    "region",  "option"};
  std::vector<Change> changes;
  JsonDocument items(text, name);
  const auto take = [&](const JsonTree& tree, JsonTree::Index item) {
    if (!items.ok() || changes.size() == kChangeLimit) return;
    changes.push_back(read_record(JsonNode(items, tree, item), change_fields));
  };
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse_list(text, name, {"changes", kNames, take}));
  JsonDocument document(text, name);
  JsonObject top(JsonNode(document, tree));
  top.text("calseal");
  // The list's own faults come before those of its items, and these before a key too many.
  if (const auto list = top.required("changes")) list->length(kChangeLimit);
  if (!document.ok()) return fail(document.error());
  if (!items.ok()) return fail(items.error());
  top.done();
  if (!document.ok()) return fail(document.error());
  return changes;
}

Status check_written(ByteView bytes, const std::vector<Change>& changes, const std::string& name) {
  CanonicalComparison comparison(bytes);
  comparison.take(R"({"calseal":"changes/1","changes":[)");
  JsonText text;
  for (const Change& change : changes) {
    kChange.write(text, change);
    comparison.take(text.text());
    text.clear();
    if (&change != &changes.back()) comparison.take(",");
  }
  comparison.take("]}");
  return comparison.finish(name);
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

void change_fields(Fields& field, Change& change) {
  place_fields(field, change.place);
  field("region", change.region, kLine);
  field("option", change.option, kMaybeName);
}

std::string write_changes(const std::vector<Change>& changes) {
  JsonText text;
  text.object([&] {
    text.member("calseal", "changes/1");
    text.array("changes", changes, [&](const Change& change) { kChange.write(text, change); });
  });
  return text.take();
}

Result<std::vector<Change>> parse_changes(ByteView bytes, const std::string& name) {
  if (bytes.size() > kChangesSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(bytes.size()) + " bytes",
                 "at most " + grouped(kChangesSizeLimit) + " bytes", "do not use this file"});
  }
  CALSEAL_CHECK(check_kind(bytes, kChangesLiteral, name));
  CALSEAL_ASSIGN(std::vector<Change> changes, read_changes(text_of(bytes), name));
  CALSEAL_CHECK(check_written(bytes, changes, name));
  CALSEAL_CHECK(check_order(changes, name));
  return changes;
}

}  // namespace calseal
