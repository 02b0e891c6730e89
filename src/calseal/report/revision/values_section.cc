#include "calseal/report/revision/values_section.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/revision/item_sides.h"

namespace calseal {
namespace {

std::optional<ShownValue> element_value(const Item& item, const Image& image, std::uint64_t element) {
  if (!image.memories[item.place.memory].knows(element_range(item, element))) return std::nullopt;
  return shown_value(item_value(item, image, element).text());
}

Html text_of(const std::optional<ShownValue>& value) {
  return value ? Html(value->text) : element("span.quiet", "not known");
}

// The sign first, so that nothing hangs on how a cell is filled: rose, fell, or neither can be said.
Html difference_of(const std::optional<ShownValue>& before, const std::optional<ShownValue>& after) {
  if (!before || !after) return {};
  const bool numbers = before->number && after->number;
  const char* sign = numbers && *after->number > *before->number   ? "▲"
                     : numbers && *after->number < *before->number ? "▼"
                                                                   : "•";
  return element("span.sign", sign) + " " + difference_text(*before, *after);
}

// Which way, for the hatched edge of a row.
MarkupName row_name(const std::optional<ShownValue>& before, const std::optional<ShownValue>& after) {
  if (!before || !after || !before->number || !after->number) return "tr";
  if (*after->number > *before->number) return "tr.up";
  if (*after->number < *before->number) return "tr.down";
  return "tr";
}

std::string point_words(const FigureAxis& axis, std::uint64_t at) {
  if (at >= axis.after.size()) return {};
  return axis.after[at].text + (axis.unit.empty() ? "" : " " + axis.unit);
}

class ItemValues {
 public:
  ItemValues(const OpenedBundle& opened, const Item& item, const std::vector<PlacedChange>& changes,
             const Sides& sides)
      : item_(item),
        sides_(sides),
        changed_(touched_elements(item, changes)),
        x_(axis_of(opened.map, item.x, changes, sides)),
        y_(axis_of(opened.map, item.y, changes, sides)) {}

  // As many rows as `budget` allows; what is left out is counted.
  Html html(bool claimed, std::size_t& budget) const {
    Html rows;
    std::size_t left_out = 0;
    for (std::uint64_t i = 0; i < changed_.size(); ++i) {
      if (!changed_[static_cast<std::size_t>(i)]) continue;
      if (budget == 0) {
        ++left_out;
        continue;
      }
      --budget;
      rows += row_of(i);
    }
    Html out = element("h3", said(item_.name), item_.title->empty() ? Html() : ", " + said(*item_.title)) +
               element("p.quiet", words(claimed));
    if (!rows.empty()) out += table(rows);
    if (left_out > 0)
      out += element("p.quiet", "and " + grouped(left_out) + " more values, which this page has no room for");
    return element("article.values", out);
  }

 private:
  std::string words(bool claimed) const {
    const auto count = static_cast<std::uint64_t>(std::ranges::count(changed_, true));
    return std::string(item_kind_name(item_.kind)) + ", " + grouped(count) + " of " +
           grouped(changed_.size()) + " values " + changed_words(claimed) +
           (item_.unit->empty() ? "" : ", in " + *item_.unit);
  }

  Html row_of(std::uint64_t i) const {
    const std::optional<ShownValue> before = element_value(item_, sides_.before, i),
                                    after = element_value(item_, sides_.after, i);
    const std::string place = element_text(item_, i);
    Html cells = element("th", {{"scope", "row"}}, place.empty() ? "value" : place);
    if (item_.x || item_.y) {
      const std::string x = point_words(x_, i % item_.columns), y = point_words(y_, i / item_.columns);
      cells += element("td.at", x + (x.empty() || y.empty() ? "" : ", ") + y);
    }
    cells += element("td", text_of(before)) + element("td", text_of(after)) +
             element("td.difference", difference_of(before, after));
    return element(row_name(before, after), cells);
  }

  Html table(const Html& rows) const {
    const auto head = [](std::string_view title) { return element("th", {{"scope", "col"}}, title); };
    Html heads = head("element");
    if (item_.x || item_.y) heads += element("th.at", {{"scope", "col"}}, "at");
    heads += head("before") + head("after") + head("difference");
    const std::string caption = "Values of " + item_.name;
    return element("div.scroll", {{"tabindex", "0"}, {"role", "region"}, {"aria-label", caption}},
                   element("table.numbers", element("caption", caption),
                           element("thead", element("tr", heads)), element("tbody", rows)));
  }

  const Item& item_;
  const Sides& sides_;
  std::vector<bool> changed_;
  const FigureAxis x_, y_;
};

}  // namespace

Html values_section(const OpenedBundle& opened, const std::vector<PlacedChange>& changes, const Sides& sides,
                    bool claimed) {
  const std::vector<bool> changed = touched_items(opened.map, changes);
  Html out;
  std::size_t budget = kMostValuesListed, left_out = 0;
  for (std::size_t i = 0; i < opened.map.items.size(); ++i) {
    if (!changed[i]) continue;
    if (budget == 0)
      ++left_out;
    else
      out += ItemValues(opened, opened.map.items[i], changes, sides).html(claimed, budget);
  }
  if (left_out > 0) out += element("p.quiet", "and " + grouped(left_out) + " more items");
  if (out.empty()) return out;
  return section(
      "Values",
      std::string(claimed ? "What the bundle claims; nobody vouches for it. " : "") +
          "Every item that differs, with every value of it. ▲ rose, ▼ fell, • neither can be said. "
          "The edge is hatched the same way: rising for rose, falling for fell.",
      out);
}

}  // namespace calseal
