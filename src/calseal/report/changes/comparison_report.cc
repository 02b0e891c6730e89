#include "calseal/report/changes/comparison_report.h"

#include <algorithm>
#include <array>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/hex_excerpt_rows.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/strip.h"
#include "calseal/report/layout/signs.h"
#include "calseal/report/layout/strip.h"

namespace calseal {
namespace {

constexpr std::size_t kShownRanges = 12;  // of one region
constexpr std::size_t kShownRegions = 200;
constexpr std::size_t kShownViolations = 20;

// All coalesced changes of one region and kind, in the order of the first.
struct RegionChanges {
  std::string region;
  SpanKind kind = SpanKind::kLocked;
  std::vector<ChangedRange> ranges;
  std::uint64_t bytes = 0;  // that differ; gaps inside coalesced ranges do not count
};

std::vector<RegionChanges> changes_by_region(const std::vector<ChangedRange>& exact) {
  std::vector<RegionChanges> groups;
  for (const ChangedRange& change : coalesce(exact)) {
    if (groups.empty() || groups.back().region != change.region || groups.back().kind != change.kind ||
        groups.back().ranges.back().place.memory != change.place.memory) {
      groups.push_back({change.region, change.kind, {}, 0});
    }
    groups.back().ranges.push_back(change);
  }
  auto group = groups.begin();
  std::size_t range = 0;
  for (const ChangedRange& change : exact) {
    const auto holds = [&] {
      const Place& place = group->ranges[range].place;
      return place.memory == change.place.memory && place.range.contains(change.place.range);
    };
    while (!holds()) {
      if (++range == group->ranges.size()) ++group, range = 0;
    }
    group->bytes += change.place.range.size();
  }
  return groups;
}

std::string group_text(const Comparison& comparison, const RegionChanges& group, const Page& page,
                       Excerpt excerpt, bool ranges) {
  const RegionMap& map = *comparison.plan->map;
  std::string text = "  " + std::string(kind_sign(page, group.kind)) + " " +
                     (group.region.empty() ? "(no region)" : group.region) + ", " +
                     std::string(span_kind_name(group.kind)) + ": " + counted(group.bytes, "byte", "bytes") +
                     " in " + counted(group.ranges.size(), "range", "ranges") + "\n";
  if (!ranges) return text;
  std::vector<ExcerptRange> shown;
  for (std::size_t i = 0; i < group.ranges.size() && i < kShownRanges; ++i) {
    const ChangedRange& range = group.ranges[i];
    shown.push_back({range.place, "      " + place_text(map, range.place) +
                                      (range.owner.empty() ? "" : "  " + range.owner) + "\n"});
  }
  if (excerpt == Excerpt::kHex)
    text += hex_excerpt_rows(shown, *comparison.before, *comparison.after);
  else
    for (const ExcerptRange& range : shown) text += range.line;
  if (group.ranges.size() > kShownRanges) {
    text += "      and " + counted(group.ranges.size() - kShownRanges, "more range", "more ranges") +
            " (--json lists them)\n";
  }
  return text;
}

std::string violation_text(const Error& violation, const Page& page) {
  constexpr std::size_t kIndent = 6;
  std::string text = "  " + page.painted(Mark::kBad, "! " + std::string(code(violation.reason))) + "  " +
                     violation.place + "\n";
  for (const std::string& part :
       {"found " + violation.found + "; expected " + violation.expected, violation.next}) {
    for (const std::string& line : wrap_words(part, page.width - kIndent))
      text += std::string(kIndent, ' ') + line + "\n";
  }
  return text;
}

// The memories in which something changed, to scale.
std::string changed_strips(const Comparison& comparison, const Page& page) {
  std::vector<RangeSet> changed(comparison.plan->map->memories.size());
  for (const ChangedRange& change : comparison.proof.changes)
    changed[change.place.memory].add(change.place.range);
  std::string text;
  for (std::size_t m = 0; m < changed.size(); ++m) {
    if (!changed[m].empty()) text += memory_strip(*comparison.plan, m, comparison.before, page, changed[m]);
  }
  return text.empty() ? "" : "\n" + text + strip_legend(page, StripMarks::kChanges);
}

// Whether items name everything that a revision may change itself.
bool is_named(const ChangesByItem& changes) {
  return !changes.items.empty() && changes.editable_bytes + changes.partial_bytes + changes.patch_bytes +
                                           changes.vehicle_bytes + changes.locked_bytes ==
                                       0;
}

bool is_stale(const Error& violation) {
  return violation.reason == Reason::kDerivedWrong || violation.reason == Reason::kCopyOneSided;
}

std::string_view side_name(CopyEdit::Side side) {
  constexpr std::array<std::string_view, 3> kWords{"copy-only", "original-only", "both"};
  return kWords[static_cast<std::size_t>(side)];
}

// Nothing is said where only the original was edited: correction brings the copy along, as after every edit.
std::string copy_edit_text(const CopyEdit& edit, const Page& page) {
  if (edit.side == CopyEdit::Side::kOriginalOnly) return {};
  return labelled(page, "copy",
                  edit.name + (edit.side == CopyEdit::Side::kCopyOnly
                                   ? ": only the copy was edited, not its original: correct would overwrite "
                                     "this edit, so make it in the original"
                                   : ": copy and original were edited and disagree; correct makes the copy "
                                     "follow the original"),
                  Mark::kCaution);
}

// Nothing is wrong but derived places, and none of them is a copy that somebody edited: correction mends it.
bool only_waits(const Plan& plan, const Confinement& proof) {
  return std::ranges::all_of(proof.violations, is_stale) &&
         std::ranges::all_of(copy_edits(plan, proof),
                             [](const CopyEdit& edit) { return edit.side == CopyEdit::Side::kOriginalOnly; });
}

std::string waiting_text(const Plan& plan, const Confinement& proof, const Page& page) {
  std::size_t checksums = 0, copies = 0;
  std::string names;
  for (const CheckOutcome& check : proof.checks) {
    if (check.state != CheckState::kFails) continue;
    ++(check.is_copy ? copies : checksums);
    if (checksums + copies <= kShownViolations) names += (names.empty() ? "" : ", ") + check.name;
  }
  if (checksums + copies > kShownViolations)
    names += " and " + grouped(checksums + copies - kShownViolations) + " more";
  std::string what = checksums > 0 ? counted(checksums, "checksum", "checksums") : "";
  if (copies > 0) what += (what.empty() ? "" : " and ") + counted(copies, "copy", "copies");
  return labelled(page, "waits", names) +
         labelled(page, "verdict",
                  "within the areas declared by region map " + region_map_words(*plan.map) + "; " + what +
                      (checksums + copies == 1 ? " waits" : " wait") + " for correction",
                  Mark::kCaution) +
         labelled(page, "next", "run calseal correct on the edited image; sealing can do it too");
}

}  // namespace

Comparison compare_and_prove(const Plan& plan, const Image& before, const Image& after) {
  Comparison comparison{&plan, &before, &after, std::nullopt, prove_confinement(plan, before, after), {}};
  if (Status believed = believe_map(plan, before); !believed)
    comparison.disbelief = std::move(believed).error();
  comparison.changes = changes_by_item(plan, before, after, comparison.proof.changes);
  return comparison;
}

std::vector<CopyEdit> copy_edits(const Plan& plan, const Confinement& proof) {
  const auto touches = [&](const Place& place) {
    return std::ranges::any_of(proof.changes, [&](const ChangedRange& change) {
      return change.place.memory == place.memory && change.place.range.overlaps(place.range);
    });
  };
  std::vector<CopyEdit> edits;
  for (const CheckOutcome& check : proof.checks) {
    if (!check.is_copy || check.state != CheckState::kFails) continue;
    const Copy& copy = plan.map->copies[plan.nodes[check.node].index];
    const bool of = touches(copy.of);
    const bool to = touches(copy.to);
    if (!of && !to) continue;
    edits.push_back({of && to ? CopyEdit::Side::kBoth
                     : of     ? CopyEdit::Side::kOriginalOnly
                              : CopyEdit::Side::kCopyOnly,
                     check.name});
  }
  return edits;
}

std::string confinement_text(const Plan& plan, const Confinement& proof, const Image& image, const Page& page,
                             bool believed) {
  const std::string map = region_map_words(*plan.map);
  if (proof.holds()) {
    return labelled(page, "verdict", "within the areas declared by region map " + map, Mark::kGood) +
           labelled(page, "editable", share_of_image(editable_share(plan, image)) + " of the known image");
  }
  if (believed && only_waits(plan, proof)) return waiting_text(plan, proof, page);
  std::string text;
  for (std::size_t i = 0; i < proof.violations.size() && i < kShownViolations; ++i) {
    text += violation_text(proof.violations[i], page);
  }
  if (proof.violations.size() > kShownViolations) {
    text += "  and " +
            counted(proof.violations.size() - kShownViolations, "more violation", "more violations") +
            " (--json lists them)\n";
  }
  text += "\n" + labelled(page, "verdict",
                          "NOT within the areas declared by region map " + map + ": " +
                              counted(proof.violations.size(), "violation", "violations"),
                          Mark::kBad);
  return text;
}

std::string comparison_items_text(const Comparison& comparison, const Page& page, const ShownItems& shown) {
  // Without items the regions below say the same.
  if (comparison.plan->map->items.empty() && comparison.changes.texts.empty()) return {};
  const ItemsCompared items{*comparison.plan->map, *comparison.before, *comparison.after, comparison.changes};
  return item_report_text(items, *comparison.plan, comparison.proof.checks, page, shown);
}

std::string changed_regions_text(const Comparison& comparison, const Page& page, Excerpt excerpt) {
  const std::vector<RegionChanges> groups = changes_by_region(comparison.proof.changes);
  const bool ranges = excerpt == Excerpt::kHex || !is_named(comparison.changes);
  std::string text = changed_strips(comparison, page);
  if (!groups.empty()) text += "\n";
  for (std::size_t i = 0; i < groups.size() && i < kShownRegions; ++i)
    text += group_text(comparison, groups[i], page, excerpt, ranges);
  if (groups.size() > kShownRegions)
    text += "  and " + counted(groups.size() - kShownRegions, "more region", "more regions") + "\n";
  return text;
}

std::string comparison_text(const Comparison& comparison, const Page& page, Excerpt excerpt) {
  const Confinement& proof = comparison.proof;
  std::string text = labelled(page, "region map", region_map_words(*comparison.plan->map));
  if (comparison.disbelief) {
    const Error& why = *comparison.disbelief;
    text += labelled(page, "believed",
                     "NO [" + std::string(code(why.reason)) + "] " + why.place + ": found " + why.found +
                         "; expected " + why.expected,
                     Mark::kBad);
  } else {
    text += labelled(page, "believed", "yes: recognised, and no checksum or copy fails on the image before",
                     Mark::kGood);
  }
  text += labelled(page, "changed",
                   proof.changes.empty() ? "nothing" : counted(proof.changed_bytes(), "byte", "bytes"));
  text += labelled(page, "checks",
                   checks_summary(proof.checks) + (proof.checks.empty() ? "" : " on the image after"));
  text += changed_regions_text(comparison, page, excerpt);
  text += "\n";
  const std::vector<CopyEdit> edits = copy_edits(*comparison.plan, comparison.proof);
  std::string copies;
  for (const CopyEdit& edit : edits) copies += copy_edit_text(edit, page);
  if (!copies.empty()) text += copies + "\n";
  text += confinement_text(*comparison.plan, proof, *comparison.before, page, !comparison.disbelief);
  if (comparison.disbelief) {
    text += labelled(page, "caution",
                     "the region map does not hold on the image before, so this verdict proves nothing",
                     Mark::kBad);
  }
  return text;
}

JsonValue confinement_json(const Plan& plan, const Confinement& proof, const Image& image) {
  const RegionMap& map = *plan.map;
  const std::size_t listed = std::min(proof.violations.size(), kListedChanges);
  const std::vector<Error> violations(proof.violations.begin(),
                                      proof.violations.begin() + static_cast<std::ptrdiff_t>(listed));
  std::vector<std::size_t> patches(map.patches.size());
  for (std::size_t i = 0; i < patches.size(); ++i) patches[i] = i;
  return json_object({{"confined", json(proof.holds())},
                      {"region_map", region_map_json(map)},
                      {"changed_bytes", json(proof.changed_bytes())},
                      {"editable_share", json(editable_share(plan, image))},
                      {"violations", json_array(violations, json_error)},
                      {"violations_left_out", json(proof.violations.size() - listed)},
                      {"patches", json_array(patches,
                                             [&](std::size_t i) {
                                               return json_object(
                                                   {{"name", json(map.patches[i].name)},
                                                    {"applied", json(bool{proof.patches_applied[i]})}});
                                             })},
                      {"checks", checks_json(map, proof.checks)}});
}

JsonValue comparison_json(const Comparison& comparison, Excerpt excerpt) {
  const RegionMap& map = *comparison.plan->map;
  const std::vector<RegionChanges> groups = changes_by_region(comparison.proof.changes);
  std::vector<ChangedRange> changes;
  std::size_t total = 0;
  for (const RegionChanges& group : groups) {
    total += group.ranges.size();
    for (const ChangedRange& range : group.ranges) {
      if (changes.size() < kListedChanges) changes.push_back(range);
    }
  }
  const auto excerpt_of = [&](const Image& image, const Place& place) {
    const ByteView bytes = image.memories[place.memory].view(place.range);
    return json(to_hex(bytes.first(std::min<std::size_t>(bytes.size(), 64))));
  };
  return json_object(
      {{"believed", json(!comparison.disbelief.has_value())},
       {"disbelief", comparison.disbelief ? json_error(*comparison.disbelief) : JsonValue{}},
       {"regions", json_array(groups,
                              [&](const RegionChanges& group) {
                                return json_object(
                                    {{"memory", json(map.memories[group.ranges.front().place.memory].name)},
                                     {"region", json(group.region)},
                                     {"kind", json(span_kind_name(group.kind))},
                                     {"ranges", json(group.ranges.size())},
                                     {"bytes", json(group.bytes)}});
                              })},
       {"changes",
        json_array(changes,
                   [&](const ChangedRange& change) {
                     JsonValue value = place_json(map, change.place);
                     value.members.emplace_back("kind", json(span_kind_name(change.kind)));
                     value.members.emplace_back("region", json(change.region));
                     value.members.emplace_back("owner", json(change.owner));
                     if (excerpt == Excerpt::kHex) {
                       value.members.emplace_back("before", excerpt_of(*comparison.before, change.place));
                       value.members.emplace_back("after", excerpt_of(*comparison.after, change.place));
                     }
                     return value;
                   })},
       {"changes_left_out", json(total - changes.size())},
       {"copies_edited",
        json_array(copy_edits(*comparison.plan, comparison.proof),
                   [](const CopyEdit& edit) {
                     return json_object({{"name", json(edit.name)}, {"side", json(side_name(edit.side))}});
                   })},
       {"confinement", confinement_json(*comparison.plan, comparison.proof, *comparison.before)}});
}

}  // namespace calseal
