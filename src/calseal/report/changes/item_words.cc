#include "calseal/report/changes/item_words.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/item_words.h"
#include "calseal/report/layout/page.h"

namespace calseal {
namespace {

constexpr std::size_t kWidestName = 40;  // columns; a longer name of a cell is a number instead

// Whether each value of an axis is known and above the one before it, so that it names one point.
bool names_points(const Item& axis, const Image& image) {
  return image.memories[axis.place.memory].knows(axis.place.range) &&
         std::ranges::none_of(judge_item(axis, image), [](const ItemBreach& breach) {
           return breach.kind == ItemBreach::Kind::kUndefined || breach.kind == ItemBreach::Kind::kNotRising;
         });
}

std::string number_at(const Item& item, const Image& image, std::uint64_t element) {
  return number_words(item_value(item, image, element), places_needed(item, image, element));
}

}  // namespace

std::string unit_words(const Item& item) { return item.unit->empty() ? "" : " " + printable(*item.unit, 70); }

std::string movement_words(const Movement& movement, const Item& item, bool several) {
  const bool table = item.kind == ItemKind::kTable;
  std::string words;
  if (movement.all > 1) {
    words = grouped(movement.changed) + (several ? " of their " : " of ") +
            counted(movement.all, table ? "cell" : "point", table ? "cells" : "points");
  }
  const auto add = [&](const std::string& more) { words += (words.empty() ? "" : ", ") + more; };
  if (movement.least.is_defined()) {
    const std::string least = difference_words(movement.least, movement.places);
    const std::string most = difference_words(movement.most, movement.places);
    if (least == most) {
      const bool same = movement.least.compare(movement.most) == 0;
      add((movement.changed == 1 ? "" : same ? "each " : "each about ") + most + unit_words(item));
    } else {
      add(least + " to " + most + unit_words(item));
      if (movement.mean.is_defined())
        add("mean " +
            difference_words(movement.mean, std::min(std::max(movement.places, 0) + 1, kDecimalDigits)));
    }
  }
  if (movement.without_value > 0) add(grouped(movement.without_value) + " without a physical value");
  return words;
}

std::string axes_words(const AxesChanged& axes) {
  return axes.x && axes.y ? "its axes changed" : "its axis changed";
}

ValueWords value_words(const ChangedItem& item, std::size_t index) {
  const Quantity& before = item.change.before[index];
  const Quantity& after = item.change.after[index];
  const int places = item.places[index];
  ValueWords words{number_words(before, places), number_words(after, places), {}};
  if (words.before == words.after) words = {before.text(), after.text(), {}};
  const Quantity difference = after.minus(before);
  if (difference.is_defined()) words.difference = difference_words(difference, places);
  return words;
}

CellNames::CellNames(const RegionMap& map, const ChangedItem& item, const Image& before, const Image& after)
    : item_(*item.change.item), before_(before), after_(after) {
  const auto usable = [&](const std::optional<std::size_t>& axis) -> const Item* {
    if (!axis) return nullptr;
    const Item& points = map.items[*axis];
    return names_points(points, before) && names_points(points, after) ? &points : nullptr;
  };
  x_ = usable(item_.x);
  y_ = usable(item_.y);
  if (item_.kind == ItemKind::kTable && (x_ == nullptr || y_ == nullptr)) x_ = nullptr;
}

std::string CellNames::point(const Item& axis, std::uint64_t at) const {
  const std::string before = number_at(axis, before_, at);
  const std::string after = number_at(axis, after_, at);
  return before + (before == after ? "" : " -> " + after) + unit_words(axis);
}

std::string CellNames::of(std::uint64_t element) const {
  if (x_ == nullptr) return element_text(item_, element);
  std::string name = point(*x_, element % item_.columns);
  if (y_ != nullptr) name += ", " + point(*y_, element / item_.columns);
  return display_width(name) > kWidestName ? element_text(item_, element) : name;
}

}  // namespace calseal
