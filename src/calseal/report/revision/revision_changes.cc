#include "calseal/report/revision/revision_changes.h"

#include <algorithm>
#include <map>
#include <utility>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/changes/strip.h"

namespace calseal {
namespace {

using SpanPlace = std::pair<std::string, Range>;

std::uint64_t unknown_in(const RevisionChanges& changes) {
  std::map<SpanPlace, const ManifestSpan*> before;
  for (const ManifestSpan& span : changes.before->manifest.controller().spans)
    before.emplace(SpanPlace(span.place.memory, span.place.range), &span);
  std::uint64_t unknown = 0;
  for (const ManifestSpan& span : changes.after->manifest.controller().spans) {
    if (!span.after) continue;
    const auto same = before.find(SpanPlace(span.place.memory, span.place.range));
    if (same != before.end() && same->second->after == span.after) continue;
    const std::size_t memory = changes.after->map.memory_index(span.place.memory);
    if (memory == changes.image_after.memories.size()) continue;
    const RangeSet known = changes.image_before.memories[memory]
                               .known.within(span.place.range)
                               .intersect(changes.image_after.memories[memory].known);
    unknown += span.place.range.size() - known.size();
  }
  return unknown;
}

std::string revision_words(const OpenedBundle& bundle) {
  const Manifest& manifest = bundle.manifest;
  return bundle.name + ": " + printable(manifest.controller().name) + ", revision " +
         std::to_string(manifest.revision) + " of job " + printable(manifest.job) + ", base " +
         std::to_string(manifest.base_number) +
         (manifest.title.empty() ? "" : ", " + printable(manifest.title));
}

std::string unlike_text(const Manifest& before, const Manifest& after, const Page& page) {
  std::string what;
  if (before.job != after.job)
    what = "these are revisions of two jobs";
  else if (before.base_number != after.base_number)
    what = "these are revisions of two bases, and changes of the base are among the differences";
  return what.empty() ? "" : labelled(page, "caution", what, Mark::kCaution);
}

JsonValue revision_json(const OpenedBundle& bundle) {
  const Manifest& manifest = bundle.manifest;
  return json_object({{"file", json(bundle.name)},
                      {"identity", json(digest_text(bundle.digest))},
                      {"job", json(manifest.job)},
                      {"controller", json(manifest.controller().name)},
                      {"base", json(manifest.base_number)},
                      {"revision", json(manifest.revision)},
                      {"title", json(manifest.title)}});
}

}  // namespace

Result<RevisionChanges> changes_between(const OpenedBundle& before, const OpenedBundle& after,
                                        const std::vector<const OpenedBundle*>& beside, const Image* read) {
  if (before.map.digest != after.map.digest) {
    return fail({Reason::kUsage, after.name, "region map", digest_text(after.map.digest),
                 digest_text(before.map.digest) + ", as " + before.name + " has it",
                 "compare revisions under one region map; calseal regions diff compares the maps"});
  }
  std::vector<const OpenedBundle*> others = beside;
  others.push_back(&before);
  others.push_back(&after);
  RevisionChanges changes;
  changes.before = &before;
  changes.after = &after;
  changes.image_before = known_sides(before, others, read).after;
  changes.image_after = known_sides(after, others, read).after;
  changes.plan = declared_plan(after.map);
  changes.changes = compare_images(changes.plan, changes.image_before, changes.image_after);
  changes.by_item = changes_by_item(changes.plan, changes.image_before, changes.image_after, changes.changes);
  changes.unknown_bytes = unknown_in(changes);
  return changes;
}

std::string revision_changes_text(const RevisionChanges& changes, const std::string& seals, const Page& page,
                                  const ShownItems& shown, Excerpt excerpt) {
  Comparison comparison{&changes.plan, &changes.image_before, &changes.image_after, std::nullopt, {}, {}};
  comparison.proof.changes = changes.changes;
  comparison.changes = changes.by_item;
  std::string text = labelled(page, "before", revision_words(*changes.before)) +
                     labelled(page, "after", revision_words(*changes.after)) + labelled(page, "seals", seals);
  text += unlike_text(changes.before->manifest, changes.after->manifest, page);
  if (const std::string items = comparison_items_text(comparison, page, shown); !items.empty())
    text += "\n" + items;
  text +=
      "\n" + labelled(page, "changed",
                      changes.changes.empty() ? "nothing that is known here"
                                              : counted(comparison.proof.changed_bytes(), "byte", "bytes"));
  text += changed_regions_text(comparison, page, excerpt);
  if (changes.unknown_bytes > 0) {
    text += "\n" + labelled(page, "not known",
                            counted(changes.unknown_bytes, "byte", "bytes") +
                                " of parts that differ: give --base-bundle or --read",
                            Mark::kCaution);
  }
  return text;
}

JsonValue revision_changes_json(const RevisionChanges& changes, bool verified) {
  const ItemsCompared items{changes.after->map, changes.image_before, changes.image_after, changes.by_item};
  std::uint64_t bytes = 0;
  for (const ChangedRange& change : changes.changes) bytes += change.place.range.size();
  return json_object({{"calseal", json("compare-revisions/1")},
                      {"before", revision_json(*changes.before)},
                      {"after", revision_json(*changes.after)},
                      {"verified", json(verified)},
                      {"changed_bytes", json(bytes)},
                      {"unknown_bytes", json(changes.unknown_bytes)},
                      {"items", item_report_json(items, changes.plan)}});
}

}  // namespace calseal
