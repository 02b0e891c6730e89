#include "calseal/option/resolve.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/identity.h"
#include "calseal/map/items.h"
#include "calseal/map/read.h"

namespace calseal {
namespace {

Error foreign(const OptionFile& option, std::string place, std::string found, std::string expected) {
  return {Reason::kOptionForeign,
          option.file,
          "option " + option.option.name + (place.empty() ? "" : ", " + place),
          std::move(found),
          std::move(expected),
          "use the option made for this software, or carry it with calseal option carry"};
}

Result<Place> place_of(const RegionMap& map, const OptionFile& option, const OptionEdit& edit) {
  if (!edit.item.empty()) {
    const Item* item = find_item(map, edit.item);
    if (item == nullptr)
      return fail(foreign(option, "item " + printable(edit.item, 80),
                          "no such item in region map " + map.name, "a calibration item of that name"));
    const auto range = make_range(edit.at, edit.after.size(), item->place.range.size());
    if (!range)
      return fail(foreign(option, "item " + item->name,
                          bytes_text(edit.after.size()) + " from offset " + std::to_string(edit.at),
                          "an edit inside its " + bytes_text(item->place.range.size())));
    return Place{item->place.memory,
                 {item->place.range.begin + range->begin, item->place.range.begin + range->end}};
  }
  const std::size_t memory = map.memory_index(edit.memory);
  if (memory == map.memories.size())
    return fail(foreign(option, "memory " + edit.memory, "no such memory in region map " + map.name,
                        "a memory of that name"));
  const auto range = make_range(edit.at, edit.after.size(), kAddressLimit);
  if (!range || !map.memories[memory].extent.contains(*range))
    return fail(foreign(option, edit.memory + " " + address_text(edit.at),
                        bytes_text(edit.after.size()) + " outside the memory",
                        "an edit inside " + range_text(map.memories[memory].extent)));
  return Place{memory, *range};
}

// What the option leaves in a permitted patch, laid over the base.
Bytes laid_over(const std::vector<PlacedEdit>& edits, const Image& base, const Place& place) {
  const ByteView view = base.memories[place.memory].view(place.range);
  Bytes bytes(view.begin(), view.end());
  for (const PlacedEdit& placed : edits) {
    if (placed.place.memory != place.memory) continue;
    const Range shared = intersect(placed.place.range, place.range);
    for (std::uint64_t at = shared.begin; at < shared.end; ++at)
      bytes[static_cast<std::size_t>(at - place.range.begin)] =
          placed.edit->after[static_cast<std::size_t>(at - placed.place.range.begin)];
  }
  return bytes;
}

}  // namespace

std::string software_number_of(const RegionMap& map, const Image& image) {
  for (const IdentityValue& value : read_identity(map, image)) {
    if (value.field->kind == IdentityKind::kSoftwareNumber && value.known && !value.blank) return value.text;
  }
  return {};
}

Result<std::vector<PlacedEdit>> place_edits(const RegionMap& map, const OptionFile& file) {
  const Option& option = file.option;
  if (option.controller != map.controller)
    return fail(foreign(file, "", "an option for the " + option.controller, "one for the " + map.controller));
  if (option.region_map != map.name || (option.map_digest && *option.map_digest != map.digest))
    return fail(foreign(file, "",
                        "an option for region map " + option.region_map +
                            (option.region_map == map.name ? ", another version of it" : ""),
                        "one for region map " + map.name));
  std::vector<PlacedEdit> placed;
  placed.reserve(option.edits.size());
  for (const OptionEdit& edit : option.edits) {
    CALSEAL_ASSIGN(const Place place, place_of(map, file, edit));
    placed.push_back({place, &edit});
  }
  std::ranges::sort(placed, {}, &PlacedEdit::place);
  for (std::size_t i = 1; i < placed.size(); ++i) {
    if (placed[i].place.memory != placed[i - 1].place.memory ||
        !placed[i].place.range.overlaps(placed[i - 1].place.range))
      continue;
    return fail({Reason::kOptionInvalid, file.file, "option " + option.name,
                 "two edits that share bytes at " + place_text(map, placed[i].place), "each byte in one edit",
                 "make the option again"});
  }
  return placed;
}

EditSides sides_of(const RegionMap& map, const std::vector<PlacedEdit>& edits, const Image* base) {
  EditSides sides;
  sides.before = base == nullptr ? blank_image(map) : *base;
  const auto lay = [](Image& image, const Place& place, const Bytes& bytes) {
    Memory& memory = image.memories[place.memory];
    std::ranges::copy(bytes, memory.span(place.range).begin());
    memory.known.add(place.range);
  };
  for (const PlacedEdit& edit : edits) {
    const Memory& memory = sides.before.memories[edit.place.memory];
    if (memory.knows(edit.place.range) &&
        !std::ranges::equal(memory.view(edit.place.range), edit.edit->before))
      sides.fits_base = false;
    lay(sides.before, edit.place, edit.edit->before);
  }
  sides.after = sides.before;
  for (const PlacedEdit& edit : edits) lay(sides.after, edit.place, edit.edit->after);
  return sides;
}

std::vector<Error> judge_option(const Plan& plan, const Image& base, const OptionFile& file) {
  const RegionMap& map = *plan.map;
  const auto placed = place_edits(map, file);
  if (!placed) return {placed.error()};
  std::vector<Error> problems;
  const std::vector<std::string>& numbers = file.option.software_numbers;
  if (const std::string number = software_number_of(map, base);
      !numbers.empty() && std::ranges::find(numbers, number) == numbers.end()) {
    std::string wanted;
    for (const std::string& one : numbers) wanted += (wanted.empty() ? "" : " or ") + one;
    problems.push_back(foreign(file, "software number",
                               number.empty() ? "no software number in the image" : number, wanted));
    return problems;
  }
  std::vector<RangeSet> editable(map.memories.size());
  for (std::size_t m = 0; m < editable.size(); ++m) editable[m] = plan.bytes_of(m, SpanKind::kEditable);
  std::vector<RangeSet> patched(map.memories.size());
  for (const PermittedPatch& patch : map.patches) {
    const Bytes bytes = laid_over(*placed, base, patch.place);
    if (bytes == patch.before || bytes == patch.after) patched[patch.place.memory].add(patch.place.range);
  }
  for (const auto& [place, edit] : *placed) {
    const std::string where = "option " + file.option.name + ", " + place_text(map, place) +
                              (edit->item.empty() ? "" : " (" + edit->item + ")");
    RangeSet rest(place.range);
    rest.remove(editable[place.memory]);
    rest.remove(patched[place.memory]);
    if (!rest.empty()) {
      problems.push_back(
          {Reason::kOptionPlace, file.file, where,
           place_text(map, {place.memory, rest.ranges().front()}) + ", which a revision may not change",
           "editable bytes, or a whole permitted patch",
           "leave these bytes out of the option, or mend the region map"});
      continue;
    }
    const Memory& memory = base.memories[place.memory];
    const bool known = memory.knows(place.range);
    if (known && std::ranges::equal(memory.view(place.range), edit->before)) continue;
    problems.push_back({Reason::kOptionBefore, file.file, where,
                        known ? hex_excerpt(memory.view(place.range)) : "unknown bytes",
                        hex_excerpt(edit->before),
                        "give the base that the option was made for, or carry the option to this one"});
  }
  return problems;
}

}  // namespace calseal
