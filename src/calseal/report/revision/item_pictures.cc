#include "calseal/report/revision/item_pictures.h"

#include <algorithm>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/html/value_picture.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMostElements = 4096;  // of an item that is drawn

bool knows(const Image& image, const Item& item) {
  return image.memories[item.place.memory].knows(item.place.range);
}

std::vector<ShownValue> values_of(const Item& item, const Image& image) {
  std::vector<ShownValue> values;
  if (!knows(image, item)) return values;
  for (std::uint64_t i = 0; i < element_count(item); ++i)
    values.push_back(shown_value(item_value(item, image, i).text()));
  return values;
}

const Item* axis_of(const RegionMap& map, const std::optional<std::size_t>& axis) {
  return axis && *axis < map.items.size() ? &map.items[*axis] : nullptr;
}

// Elements that a change touches.
std::vector<bool> touched(const Item& item, const Window& window) {
  std::vector<bool> elements(static_cast<std::size_t>(element_count(item)), false);
  const std::uint64_t size = element_size(item.type);
  for (const PlacedChange& change : window.changes) {
    const Range part = intersect(change.range, item.place.range);
    for (std::uint64_t at = part.begin; at < part.end; ++at)
      elements[static_cast<std::size_t>((at - item.place.range.begin) / size)] = true;
  }
  return elements;
}

std::string count_words(std::uint64_t changed, std::uint64_t all, std::string_view what) {
  return grouped(changed) + " of " + grouped(all) + " " + std::string(what) + " changed";
}

// The same few values as a row: scalars, axes, and what is too odd to draw.
Html value_list(const Item& item, const std::vector<ShownValue>& before, const std::vector<ShownValue>& after,
                const std::vector<bool>& changed) {
  constexpr std::size_t kMost = 64;
  Table table("values of " + item.name,
              {{"element"}, {"before", true}, {"after", true}, {"difference", true}});
  std::size_t left_out = 0, shown = 0;
  for (std::size_t i = 0; i < changed.size(); ++i) {
    if (!changed[i]) continue;
    if (shown++ == kMost) shown = kMost, ++left_out;
    if (left_out > 0) continue;
    const bool has_before = i < before.size(), has_after = i < after.size();
    const std::string place = element_text(item, i);
    table.add({place.empty() ? "value" : place,
               has_before ? Html(before[i].text) : element("span.quiet", "not known"),
               has_after ? Html(after[i].text) : element("span.quiet", "not known"),
               has_before && has_after ? Html(difference_text(before[i], after[i])) : Html()});
  }
  Html out = table.html();
  if (left_out > 0) out += element("p.quiet", "and " + grouped(left_out) + " more elements");
  return out;
}

std::vector<Html> scalar_row(const Item& item, const Sides& sides) {
  const std::vector<ShownValue> before = values_of(item, sides.before), after = values_of(item, sides.after);
  const auto text = [](const std::vector<ShownValue>& values) {
    return values.empty() ? element("span.quiet", "not known") : Html(values.front().text);
  };
  return {said(item.name) + (item.title->empty() ? Html() : element("span.quiet.under", said(*item.title))),
          text(before), text(after),
          before.empty() || after.empty() ? Html() : Html(difference_text(before.front(), after.front())),
          said(*item.unit)};
}

class ItemFigure {
 public:
  ItemFigure(const OpenedBundle& opened, const Item& item, const Window& window, const Sides& sides)
      : map_(opened.map), item_(item), sides_(sides), changed_(touched(item, window)) {
    if (element_count(item) <= kMostElements) {
      before_ = values_of(item, sides.before);
      after_ = values_of(item, sides.after);
    }
  }

  Html html(bool alone) const {
    const auto changed = static_cast<std::uint64_t>(std::ranges::count(changed_, true));
    const char* what = item_.kind == ItemKind::kTable ? "cells" : "points";
    Html head = element("h4", said(item_.name), item_.title->empty() ? Html() : ", " + said(*item_.title));
    std::string line =
        std::string(item_kind_name(item_.kind)) + ", " + count_words(changed, element_count(item_), what);
    if (const std::string span = span_of_change(); !span.empty()) line += ", " + span;
    head += element("p.quiet", line);
    Html numbers = this->numbers();
    if (!numbers.empty()) {
      const Html title = element("summary", "Values", element("span.unseen", " of " + item_.name));
      numbers =
          alone ? element("details", {{"open", ""}}, title, numbers) : element("details", title, numbers);
    }
    return element("article.item", head, picture(), numbers);
  }

 private:
  // "from +2.5 to +30.0 Nm"
  std::string span_of_change() const {
    if (before_.empty() || after_.empty()) return {};
    std::string least, most;
    double low = 0, high = 0;
    for (std::size_t i = 0; i < changed_.size(); ++i) {
      if (!changed_[i] || !before_[i].number || !after_[i].number) continue;
      const double difference = *after_[i].number - *before_[i].number;
      const std::string text = difference_text(before_[i], after_[i]);
      if (text.empty()) continue;
      if (least.empty() || difference < low) low = difference, least = text;
      if (most.empty() || difference > high) high = difference, most = text;
    }
    if (least.empty()) return {};
    const std::string unit = item_.unit->empty() ? "" : " " + *item_.unit;
    return least == most ? "each by " + most + unit : "by " + least + " to " + most + unit;
  }

  std::vector<ShownValue> axis_values(const std::optional<std::size_t>& axis) const {
    const Item* item = axis_of(map_, axis);
    return item == nullptr ? std::vector<ShownValue>() : values_of(*item, sides_.after);
  }
  std::string axis_unit(const std::optional<std::size_t>& axis) const {
    const Item* item = axis_of(map_, axis);
    return item == nullptr ? "" : *item->unit;
  }

  Html picture() const {
    if (element_count(item_) > kMostElements) return element("p.quiet", "Too large to draw.");
    if (after_.empty()) return element("p.quiet", "Its values are not known here.");
    if (item_.kind == ItemKind::kCurve) return curve();
    if (item_.kind == ItemKind::kTable) return cells_picture(grid());
    return {};
  }

  Html numbers() const {
    if (after_.empty()) return {};
    if (item_.kind == ItemKind::kAxis || before_.empty()) return value_list(item_, before_, after_, changed_);
    return grid_picture(grid());
  }

  Html curve() const {
    CurvePicture picture;
    picture.x = axis_values(item_.x);
    picture.x_unit = axis_unit(item_.x);
    picture.unit = *item_.unit;
    picture.before = before_;
    picture.after = after_;
    picture.spoken = "curve " + item_.name + (before_.empty() ? ", after the change" : ", before and after");
    return curve_picture(picture);
  }

  // A curve is a grid of one row.
  GridPicture grid() const {
    GridPicture picture;
    const bool curve = item_.kind == ItemKind::kCurve;
    picture.columns = curve ? after_.size() : item_.columns;
    picture.rows = curve ? 1 : item_.rows;
    picture.x = axis_values(item_.x);
    picture.x_unit = axis_unit(item_.x);
    if (curve)
      picture.y = {{item_.unit->empty() ? "value" : *item_.unit, std::nullopt}};
    else
      picture.y = axis_values(item_.y);
    picture.y_unit = axis_unit(item_.y);
    picture.before = before_;
    picture.after = after_;
    picture.changed = changed_;
    picture.caption = (curve ? "points of curve " : "table ") + item_.name +
                      (item_.unit->empty() ? "" : ", in " + *item_.unit);
    return picture;
  }

  const RegionMap& map_;
  const Item& item_;
  const Sides& sides_;
  std::vector<bool> changed_;
  std::vector<ShownValue> before_, after_;
};

}  // namespace

Html item_pictures(const OpenedBundle& opened, const Window& window, const Sides& sides,
                   std::size_t& budget) {
  Table scalars("values", {{"value"}, {"before", true}, {"after", true}, {"difference", true}, {"unit"}});
  std::vector<const Item*> drawn;
  std::size_t left_out = 0;
  std::size_t change = 0;
  for (const Item& item : opened.map.items) {
    if (item.place.memory != window.memory) continue;
    while (change < window.changes.size() && window.changes[change].range.end <= item.place.range.begin)
      ++change;
    if (change == window.changes.size()) break;
    if (!window.changes[change].range.overlaps(item.place.range)) continue;
    if (budget == 0) {
      ++left_out;
      continue;
    }
    --budget;
    if (item.kind == ItemKind::kScalar)
      scalars.add(scalar_row(item, sides));
    else
      drawn.push_back(&item);
  }
  Html out = scalars.empty() ? Html() : scalars.html();
  Html cards;
  for (const Item* item : drawn) cards += ItemFigure(opened, *item, window, sides).html(drawn.size() == 1);
  if (!cards.empty())
    out += drawn.size() == 1 ? element("div.items.alone", cards) : element("div.items", cards);
  if (left_out > 0)
    out += element("p.quiet", "and " + grouped(left_out) + " more items, which are not drawn");
  return out;
}

}  // namespace calseal
