#include "calseal/report/revision/item_sides.h"

#include <algorithm>

#include "calseal/map/items.h"

namespace calseal {

bool knows_item(const Image& image, const Item& item) {
  return image.memories[item.place.memory].knows(item.place.range);
}

std::vector<ShownValue> values_of(const Item& item, const Image& image) {
  std::vector<ShownValue> values;
  if (!knows_item(image, item)) return values;
  for (std::uint64_t i = 0; i < element_count(item); ++i)
    values.push_back(shown_value(item_value(item, image, i).text()));
  return values;
}

std::vector<bool> touched_elements(const Item& item, const std::vector<PlacedChange>& changes) {
  std::vector<bool> elements(static_cast<std::size_t>(element_count(item)), false);
  const std::uint64_t size = element_size(item.type);
  for (const PlacedChange& change : changes) {
    if (change.memory != item.place.memory) continue;
    const Range part = intersect(change.range, item.place.range);
    for (std::uint64_t at = part.begin; at < part.end; ++at)
      elements[static_cast<std::size_t>((at - item.place.range.begin) / size)] = true;
  }
  return elements;
}

FigureAxis axis_of(const RegionMap& map, const std::optional<std::size_t>& index,
                   const std::vector<PlacedChange>& changes, const Sides& sides) {
  if (!index || *index >= map.items.size()) return {};
  const Item& item = map.items[*index];
  FigureAxis axis{values_of(item, sides.before), values_of(item, sides.after),
                  touched_elements(item, changes), *item.unit};
  if (std::ranges::count(axis.moved, true) == 0) {
    axis.moved.clear();
    if (axis.before.empty()) axis.before = axis.after;
  }
  return axis;
}

std::vector<bool> touched_items(const RegionMap& map, const std::vector<PlacedChange>& changes) {
  std::vector<bool> items(map.items.size(), false);
  std::size_t change = 0;
  for (std::size_t i = 0; i < map.items.size() && change < changes.size(); ++i) {
    const Place& place = map.items[i].place;
    while (change < changes.size() && std::pair(changes[change].memory, changes[change].range.end) <=
                                          std::pair(place.memory, place.range.begin))
      ++change;
    items[i] = change < changes.size() && changes[change].memory == place.memory &&
               changes[change].range.overlaps(place.range);
  }
  return items;
}

const char* changed_words(bool claimed) { return claimed ? "claimed to change" : "changed"; }

}  // namespace calseal
