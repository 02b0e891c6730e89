#include "calseal/report/revision/item_pictures.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/change/by_item.h"
#include "calseal/map/items.h"
#include "calseal/report/changes/item_words.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/html/value_picture.h"
#include "calseal/report/revision/item_sides.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMostElements = 4096;  // of an item that is drawn

std::string count_words(std::uint64_t changed, std::uint64_t all, std::string_view what, bool claimed) {
  return grouped(changed) + " of " + grouped(all) + " " + std::string(what) + " " + changed_words(claimed);
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
  ItemFigure(const RegionMap& map, const Item& item, const std::vector<PlacedChange>& changes,
             const Sides& sides, bool claimed)
      : item_(item),
        claimed_(claimed),
        changed_(touched_elements(item, changes)),
        x_(axis_of(map, item.x, changes, sides)),
        y_(axis_of(map, item.y, changes, sides)) {
    if (element_count(item) <= kMostElements) {
      before_ = values_of(item, sides.before);
      after_ = values_of(item, sides.after);
    }
  }

  Html html(bool alone) const {
    const auto changed = static_cast<std::uint64_t>(std::ranges::count(changed_, true));
    const char* what = item_.kind == ItemKind::kTable ? "cells" : "points";
    Html head = element("h4", said(item_.name), item_.title->empty() ? Html() : ", " + said(*item_.title));
    std::string line = std::string(item_kind_name(item_.kind)) + ", " +
                       count_words(changed, element_count(item_), what, claimed_);
    if (const std::string span = span_of_change(); !span.empty()) line += ", " + span;
    if (axes().any()) line += "; " + axes_words(axes());
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
  AxesChanged axes() const { return {!x_.moved.empty(), !y_.moved.empty()}; }

  // "by +2.5 to +30.0 Nm"
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
    // Where an axis changed, a point before and after is no longer the same place.
    const std::string how = !axes().any()                    ? ""
                            : item_.kind == ItemKind::kTable ? "cell by cell "
                                                             : "point by point ";
    return how + (least == most ? "each by " + most + unit : "by " + least + " to " + most + unit);
  }

  Html picture() const {
    if (element_count(item_) > kMostElements)
      return element("p.quiet", "Too large to draw; its numbers are under Values.");
    if (after_.empty()) return element("p.quiet", "Its values are not known here.");
    if (item_.kind == ItemKind::kCurve) return curve();
    if (item_.kind == ItemKind::kTable) return cells_picture(grid());
    return {};
  }

  Html numbers() const {
    if (after_.empty()) return {};
    if (item_.kind == ItemKind::kAxis || (before_.empty() && !axes().any()))
      return value_list(item_, before_, after_, changed_);
    return grid_picture(grid());
  }

  Html curve() const {
    CurvePicture picture;
    picture.x_before = x_.before;
    picture.x_after = x_.after;
    picture.axis_changed = axes().x;
    picture.x_unit = x_.unit;
    picture.unit = *item_.unit;
    picture.before = before_;
    picture.after = after_;
    picture.spoken = "curve " + item_.name + (before_.empty() ? ", after the change" : ", before and after") +
                     (axes().x ? "; its axis changed" : "");
    return curve_picture(picture);
  }

  // A curve is a grid of one row.
  GridPicture grid() const {
    GridPicture picture;
    const bool curve = item_.kind == ItemKind::kCurve;
    picture.columns = curve ? after_.size() : item_.columns;
    picture.rows = curve ? 1 : item_.rows;
    picture.x = x_.after, picture.x_before = x_.before, picture.x_moved = x_.moved;
    picture.x_unit = x_.unit;
    picture.y = y_.after, picture.y_before = y_.before, picture.y_moved = y_.moved;
    if (curve) picture.y = {{item_.unit->empty() ? "value" : *item_.unit, std::nullopt}};
    picture.y_unit = y_.unit;
    picture.before = before_;
    picture.after = after_;
    picture.changed = changed_;
    picture.caption = (curve ? "points of curve " : "table ") + item_.name +
                      (item_.unit->empty() ? "" : ", in " + *item_.unit);
    return picture;
  }

  const Item& item_;
  const bool claimed_;
  std::vector<bool> changed_;
  const FigureAxis x_, y_;
  std::vector<ShownValue> before_, after_;
};

// An item of which nothing but its axes changed belongs to the place of the first of them.
bool moves_with_its_axis(const Item& item, const std::vector<bool>& changed, const std::vector<bool>& here) {
  const AxesChanged axes = axes_changed(item, changed);
  return axes.x ? axes_changed(item, here).x : axes_changed(item, here).y;
}

}  // namespace

Html item_pictures(const RegionMap& map, const std::vector<PlacedChange>& changes, const Window& window,
                   const Sides& sides, bool claimed, std::size_t& budget) {
  const std::vector<bool> changed = touched_items(map, changes);
  const std::vector<bool> here = touched_items(map, window.changes);
  Table scalars("values", {{"value"}, {"before", true}, {"after", true}, {"difference", true}, {"unit"}});
  std::vector<const Item*> drawn;
  std::size_t left_out = 0;
  for (std::size_t i = 0; i < map.items.size(); ++i) {
    const Item& item = map.items[i];
    if (!here[i] && (changed[i] || !moves_with_its_axis(item, changed, here))) continue;
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
  for (const Item* item : drawn)
    cards += ItemFigure(map, *item, changes, sides, claimed).html(drawn.size() == 1);
  if (!cards.empty())
    out += drawn.size() == 1 ? element("div.items.alone", cards) : element("div.items", cards);
  if (left_out > 0)
    out += element("p.quiet", "and " + grouped(left_out) +
                                  " more items, which are not drawn; their numbers are under Values");
  return out;
}

}  // namespace calseal
