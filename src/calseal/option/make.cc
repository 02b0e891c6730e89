#include "calseal/option/make.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/map/items.h"
#include "calseal/option/resolve.h"

namespace calseal {
namespace {

std::string_view left_out_word(const ChangedRange& change) {
  switch (change.kind) {
    case SpanKind::kDerived:
    case SpanKind::kFloating:
      return "derived: correction sets it";
    case SpanKind::kVolatile:
      return "volatile: belongs to the vehicle";
    default:
      return "binding: tells one vehicle from another";
  }
}

// The whole elements of an item that a changed range touches, where a revision may change all of them.
Range grown_to_elements(const Item& item, Range range, const RangeSet& editable, const Memory& base) {
  const std::uint64_t size = element_size(item.type);
  const std::uint64_t origin = item.place.range.begin;
  range = intersect(range, item.place.range);
  const Range whole{origin + (range.begin - origin) / size * size,
                    origin + (range.end - origin + size - 1) / size * size};
  return editable.contains(whole) && base.knows(whole) ? whole : range;
}

// Whole elements of items, and single bytes where there is none.
void touch(const RegionMap& map, const Image& base, const RangeSet& editable, const Place& changed,
           RangeSet& touched) {
  std::uint64_t at = changed.range.begin;
  while (at < changed.range.end) {
    const Item* item = item_at(map, changed.memory, at);
    if (item == nullptr) {
      touched.add({at, at + 1});
      ++at;
      continue;
    }
    touched.add(grown_to_elements(*item, {at, changed.range.end}, editable, base.memories[changed.memory]));
    at = std::min(changed.range.end, item->place.range.end);
  }
}

// One run of touched bytes, cut at the edges of regions and items.
void add_edits(const RegionMap& map, const Image& base, const Image& edited, const Place& run,
               std::vector<OptionEdit>& edits) {
  const std::size_t m = run.memory;
  for (std::uint64_t at = run.range.begin; at < run.range.end;) {
    const Item* item = item_at(map, m, at);
    const std::string region = region_at(map, m, at);
    std::uint64_t end = at + 1;
    while (end < run.range.end && end - at < 65536 && item_at(map, m, end) == item &&
           region_at(map, m, end) == region)
      ++end;
    const ByteView before = base.memories[m].view({at, end});
    const ByteView after = edited.memories[m].view({at, end});
    OptionEdit edit;
    edit.memory = item == nullptr ? map.memories[m].name : "";
    edit.item = item == nullptr ? "" : item->name;
    edit.at = item == nullptr ? at : at - item->place.range.begin;
    edit.before.assign(before.begin(), before.end());
    edit.after.assign(after.begin(), after.end());
    edits.push_back(std::move(edit));
    at = end;
  }
}

}  // namespace

Result<MadeOption> make_option(const Plan& plan, const Image& base, const Image& edited,
                               const std::string& name, const std::string& title) {
  const RegionMap& map = *plan.map;
  const Confinement proof = prove_confinement(plan, base, edited);
  for (const Error& violation : proof.violations) {
    if (violation.reason == Reason::kChangeSigned || violation.reason == Reason::kChangePatch ||
        violation.reason == Reason::kChangeLocked)
      return fail(violation);
  }
  MadeOption made;
  Option& option = made.option;
  option.name = name;
  option.title = title;
  option.controller = map.controller;
  option.region_map = map.name;
  if (const std::string number = software_number_of(map, base); !number.empty())
    option.software_numbers.push_back(number);
  std::vector<RangeSet> touched(map.memories.size());
  std::vector<RangeSet> editable;
  for (std::size_t m = 0; m < map.memories.size(); ++m)
    editable.push_back(plan.bytes_of(m, SpanKind::kEditable));
  for (const ChangedRange& change : proof.changes) {
    const std::size_t m = change.place.memory;
    if (change.kind == SpanKind::kEditable) {
      touch(map, base, editable[m], change.place, touched[m]);
    } else if (change.kind == SpanKind::kLocked) {
      for (const PermittedPatch& patch : map.patches) {
        if (patch.place.memory == m && patch.place.range.overlaps(change.place.range))
          touched[m].add(patch.place.range);
      }
    } else {
      made.left_out.emplace_back(change.place, left_out_word(change));
    }
  }
  for (std::size_t m = 0; m < touched.size(); ++m) {
    for (const Range& run : touched[m].ranges()) add_edits(map, base, edited, {m, run}, option.edits);
  }
  if (option.edits.empty()) {
    return fail({Reason::kOptionInvalid, "", "", "no byte that an option may hold differs",
                 "an edit in editable bytes or a whole permitted patch",
                 "give the base and the image as the editor left it"});
  }
  return made;
}

}  // namespace calseal
