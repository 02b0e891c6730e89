#include "calseal/report/changes/item_report.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/item_words.h"

namespace calseal {
namespace {

constexpr std::size_t kShownGroups = 40;
constexpr std::size_t kShownUsers = 3;          // items that an axis belongs to
constexpr std::size_t kListedElements = 65536;  // in JSON, all items together
constexpr std::size_t kTitle = 80;              // bytes

std::string title_words(const Item& item) {
  return item.title->empty() ? "" : " (" + printable(*item.title, kTitle) + ")";
}

// "  text", wrapped under itself, further in.
std::string paragraph(const std::string& text, const Page& page, std::size_t indent) {
  constexpr std::size_t kFurther = 4;
  const std::size_t room = page.width - indent;
  const std::string first = wrap_words(text, room).front();
  std::string out = std::string(indent, ' ') + first + "\n";
  if (first.size() >= text.size()) return out;
  for (const std::string& line : wrap_words(text.substr(first.size() + 1), room - kFurther))
    out += std::string(indent + kFurther, ' ') + line + "\n";
  return out;
}

// "2,800 -> 3,000 1/min (+200)"
std::string single_words(const ChangedItem& item) {
  const ValueWords words = value_words(item, 0);
  return words.before + " -> " + words.after + unit_words(*item.change.item) +
         (words.difference.empty() ? "" : " (" + words.difference + ")");
}

// "axis of torque-limit, boost and 2 more"
std::string users_of(const RegionMap& map, const Item& axis) {
  const auto index = static_cast<std::size_t>(&axis - map.items.data());
  std::string names;
  std::size_t users = 0;
  for (const Item& item : map.items) {
    if (item.x != index && item.y != index) continue;
    if (++users <= kShownUsers) names += (names.empty() ? "" : ", ") + item.name;
  }
  if (users == 0) return {};
  return "; axis of " + names + (users > kShownUsers ? " and " + grouped(users - kShownUsers) + " more" : "");
}

// Lines of the items that changed.
class ItemLines {
 public:
  ItemLines(const ItemsCompared& compared, const Page& page, const ShownItems& shown)
      : compared_(compared), page_(page), cells_(shown.cells), rest_(shown.rest) {}

  std::string group(const ItemGroup& group) const {
    const std::vector<ChangedItem>& items = compared_.changes.items;
    if (group.members.size() == 1) return whole(items[group.members.front()], 2);
    const Item& first = *items[group.members.front()].change.item;
    std::string text =
        paragraph(group.name + title_words(first) + ": " + grouped(group.members.size()) + " of " +
                      grouped(group.declared) + " changed; " + movement_words(group.movement, first, true),
                  page_, 2);
    const bool with_cells = group.movement.changed <= cells_;
    std::size_t shown = 0;
    for (const std::size_t member : group.members) {
      if (shown == cells_) break;
      ++shown;
      text += with_cells ? whole(items[member], 4) : headline(items[member], 4, "");
    }
    return text + left_out(group.members.size() - shown, "more of them", "more of them", 4);
  }

 private:
  std::string headline(const ChangedItem& item, std::size_t indent, const std::string& title) const {
    const Item& what = *item.change.item;
    const bool single = what.kind == ItemKind::kScalar;
    std::string text =
        what.name + title + ": " + (single ? single_words(item) : movement_words(item.movement, what));
    if (what.kind == ItemKind::kAxis) text += users_of(compared_.map, what);
    if (item.axes.any()) text += "; " + axes_words(item.axes) + " too";
    return paragraph(text, page_, indent);
  }

  std::string whole(const ChangedItem& item, std::size_t indent) const {
    const Item& what = *item.change.item;
    const std::string text = headline(item, indent, indent == 2 ? title_words(what) : "");
    if (what.kind == ItemKind::kScalar) return text;
    const CellNames names(compared_.map, item, compared_.before, compared_.after);
    const std::size_t shown = std::min(cells_, item.change.elements.size());
    Columns columns;
    for (std::size_t i = 0; i < shown; ++i) {
      const ValueWords words = value_words(item, i);
      columns.add(
          {{names.of(item.change.elements[i])},
           {words.before, Mark::kPlain, true},
           {"->"},
           {words.after, Mark::kPlain, true},
           {words.difference.empty() ? unit_words(what)
                                     : (unit_words(what).empty() ? "" : unit_words(what).substr(1) + "  ") +
                                           "(" + words.difference + ")"}});
    }
    return text + columns.text(page_, indent + 4) +
           left_out(item.change.elements.size() - shown, "more value", "more values", indent + 4);
  }

  std::string left_out(std::size_t count, const char* one, const char* many, std::size_t indent) const {
    if (count == 0) return {};
    return std::string(indent, ' ') + "and " + counted(count, one, many) + " (" + rest_ + ")\n";
  }

  const ItemsCompared& compared_;
  const Page& page_;
  const std::size_t cells_;
  const std::string rest_;
};

std::string text_words(const ChangedText& text) {
  return text.name + ": \"" + text.before + "\" -> \"" + text.after + "\"";
}

std::string joined_names(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size() && i < kShownGroups; ++i) text += (i == 0 ? "" : ", ") + names[i];
  return names.size() > kShownGroups ? text + " and " + grouped(names.size() - kShownGroups) + " more" : text;
}

std::string places_words(const ChangesByItem& changes) {
  return counted(changes.editable_bytes, "byte", "bytes") + " in " +
         counted(changes.editable_runs, "place", "places") + " that no item names";
}

std::string partial_words(const ChangesByItem& changes) {
  return counted(changes.partial_bytes, "byte", "bytes") + " of values that are only partly known";
}

// "12 bytes of 3 checksums and 1 copy, corrected"
std::string derived_words(const ChangesByItem& changes, const Plan& plan,
                          const std::vector<CheckOutcome>& checks) {
  std::size_t copies = 0, judged = 0, failing = 0, open = 0;
  for (const std::size_t node : changes.derived_nodes) {
    copies += plan.nodes[node].is_copy ? 1 : 0;
    const auto check = std::ranges::find(checks, node, &CheckOutcome::node);
    if (check == checks.end()) continue;
    ++judged;
    failing += check->state == CheckState::kFails ? 1 : 0;
    open += check->state == CheckState::kNotProvable ? 1 : 0;
  }
  const std::size_t checksums = changes.derived_nodes.size() - copies;
  std::string words = counted(changes.derived_bytes, "byte", "bytes") + " of ";
  if (checksums > 0) words += counted(checksums, "checksum", "checksums") + (copies > 0 ? " and " : "");
  if (copies > 0) words += counted(copies, "copy", "copies");
  if (failing > 0) return words + ", of which " + counted(failing, "is", "are") + " not right yet";
  if (open > 0) return words + ", of which " + counted(open, "is", "are") + " not provable";
  return words + (judged == changes.derived_nodes.size() ? ", corrected" : "");
}

std::string rest_text(const ChangesByItem& changes, const Plan& plan, const std::vector<CheckOutcome>& checks,
                      const Page& page) {
  std::string text;
  for (const ChangedText& field : changes.texts) text += labelled(page, "text", text_words(field));
  if (changes.patch_bytes > 0) {
    text += labelled(page, "patch",
                     counted(changes.patch_bytes, "byte", "bytes") +
                         " of permitted patches: " + joined_names(changes.patches));
  }
  if (changes.editable_bytes > 0) text += labelled(page, "not named", places_words(changes));
  if (changes.partial_bytes > 0) text += labelled(page, "partly", partial_words(changes));
  if (changes.derived_bytes > 0) text += labelled(page, "derived", derived_words(changes, plan, checks));
  if (changes.vehicle_bytes > 0) {
    text +=
        labelled(page, "vehicle",
                 counted(changes.vehicle_bytes, "byte", "bytes") + " that belong to the vehicle", Mark::kBad);
  }
  if (changes.locked_bytes > 0) {
    text +=
        labelled(page, "locked",
                 counted(changes.locked_bytes, "byte", "bytes") + " that no revision may change", Mark::kBad);
  }
  return text;
}

std::string items_text(const ItemsCompared& compared, const Page& page, const ShownItems& most) {
  const std::vector<ItemGroup>& groups = compared.changes.groups;
  if (groups.empty()) return {};
  const ItemLines lines(compared, page, most);
  const std::size_t shown = std::min(groups.size(), std::max(kShownGroups, most.cells));
  std::string text = page.painted(Mark::kDim, "items") + "\n";
  for (std::size_t i = 0; i < shown; ++i) text += lines.group(groups[i]);
  if (groups.size() > shown)
    text += "  and " + counted(groups.size() - shown, "more item", "more items") + " (" + most.rest + ")\n";
  return text;
}

std::vector<ItemBreach> breaches_of(const ItemsCompared& compared) {
  std::vector<ItemBreach> breaches;
  for (const ChangedItem& item : compared.changes.items) {
    for (ItemBreach& breach : judge_item(*item.change.item, compared.after))
      breaches.push_back(std::move(breach));
  }
  return breaches;
}

std::string limits_text(const ItemsCompared& compared, const Page& page) {
  std::string text;
  for (const ItemBreach& breach : breaches_of(compared))
    text += labelled(page, "limit", printable(breach_text(breach), 400), Mark::kCaution);
  return text;
}

JsonValue movement_json(const Movement& movement) {
  const auto number = [](const Quantity& value) { return json(value.is_defined() ? value.text() : ""); };
  return json_object({{"changed", json(movement.changed)},
                      {"of", json(movement.all)},
                      {"without_value", json(movement.without_value)},
                      {"least", number(movement.least)},
                      {"most", number(movement.most)},
                      {"mean", number(movement.mean)}});
}

// Where an element stands on an axis: its value before, and after where that differs.
void add_axis(const RegionMap& map, const ItemsCompared& compared, const char* name,
              const std::optional<std::size_t>& axis, std::uint64_t point, JsonValue& value) {
  if (!axis) return;
  const Quantity before = item_value(map.items[*axis], compared.before, point);
  const Quantity after = item_value(map.items[*axis], compared.after, point);
  value.members.emplace_back(name, json(before.text()));
  if (before.text() != after.text())
    value.members.emplace_back(std::string(name) + "_after", json(after.text()));
}

JsonValue item_json(const ItemsCompared& compared, const ChangedItem& changed, std::size_t& budget) {
  const Item& item = *changed.change.item;
  const std::size_t listed = std::min(budget, changed.change.elements.size());
  budget -= listed;
  JsonValue elements = json_strings({});
  for (std::size_t i = 0; i < listed; ++i) {
    const std::uint64_t element = changed.change.elements[i];
    JsonValue value = json_object({{"element", json(element)},
                                   {"before", json(changed.change.before[i].text())},
                                   {"after", json(changed.change.after[i].text())}});
    add_axis(compared.map, compared, "x", item.x, element % item.columns, value);
    add_axis(compared.map, compared, "y", item.y, element / item.columns, value);
    elements.items.push_back(std::move(value));
  }
  return json_object({{"name", json(item.name)},
                      {"kind", json(item_kind_name(item.kind))},
                      {"unit", json(*item.unit)},
                      {"elements", std::move(elements)},
                      {"elements_left_out", json(changed.change.elements.size() - listed)},
                      {"title", json(*item.title)},
                      {"x_changed", json(changed.axes.x)},
                      {"y_changed", json(changed.axes.y)},
                      {"movement", movement_json(changed.movement)}});
}

JsonValue breach_json(const ItemBreach& breach) {
  return json_object({{"item", json(breach.item->name)},
                      {"kind", json(breach_name(breach.kind))},
                      {"element", json(breach.element)},
                      {"count", json(breach.count)},
                      {"text", json(breach_text(breach))}});
}

JsonValue items_json(const ItemsCompared& compared) {
  std::size_t budget = kListedElements;
  return json_object(
      {{"changed", json_array(compared.changes.items,
                              [&](const ChangedItem& item) { return item_json(compared, item, budget); })},
       {"groups", json_array(compared.changes.groups,
                             [](const ItemGroup& group) {
                               return json_object({{"name", json(group.name)},
                                                   {"items", json(group.members.size())},
                                                   {"declared", json(group.declared)},
                                                   {"movement", movement_json(group.movement)}});
                             })},
       {"breaches", json_array(breaches_of(compared), breach_json)}});
}

JsonValue rest_json(const ChangesByItem& changes, const Plan& plan) {
  return json_object({{"texts", json_array(changes.texts,
                                           [](const ChangedText& text) {
                                             return json_object({{"name", json(text.name)},
                                                                 {"before", json(text.before)},
                                                                 {"after", json(text.after)},
                                                                 {"bytes", json(text.bytes)}});
                                           })},
                      {"patches", json_strings(changes.patches)},
                      {"patch_bytes", json(changes.patch_bytes)},
                      {"editable_bytes", json(changes.editable_bytes)},
                      {"partial_bytes", json(changes.partial_bytes)},
                      {"derived_bytes", json(changes.derived_bytes)},
                      {"derived", json_array(changes.derived_nodes,
                                             [&](std::size_t node) { return json(plan.nodes[node].name); })},
                      {"vehicle_bytes", json(changes.vehicle_bytes)},
                      {"locked_bytes", json(changes.locked_bytes)}});
}

}  // namespace

std::string item_report_text(const ItemsCompared& compared, const Plan& plan,
                             const std::vector<CheckOutcome>& checks, const Page& page,
                             const ShownItems& shown) {
  std::string text = items_text(compared, page, shown);
  const std::string rest = limits_text(compared, page) + rest_text(compared.changes, plan, checks, page);
  return text + (text.empty() || rest.empty() ? "" : "\n") + rest;
}

JsonValue item_report_json(const ItemsCompared& compared, const Plan& plan) {
  JsonValue value = items_json(compared);
  value.members.emplace_back("item_bytes", json(compared.changes.item_bytes));
  value.members.emplace_back("elsewhere", rest_json(compared.changes, plan));
  return value;
}

std::vector<std::string> item_summaries(const ChangesByItem& changes) {
  std::vector<std::string> lines;
  for (const ItemGroup& group : changes.groups) {
    const ChangedItem& first = changes.items[group.members.front()];
    const Item& item = *first.change.item;
    const bool single = group.members.size() == 1 && item.kind == ItemKind::kScalar;
    std::string line = item.title->empty() ? group.name : printable(*item.title, kTitle);
    if (group.members.size() > 1)
      line += " (" + grouped(group.members.size()) + " of " + grouped(group.declared) + ")";
    else if (group.declared > 1 && !item.title->empty())
      line += ", " + item.name;
    lines.push_back(
        line + ": " +
        (single ? single_words(first) : movement_words(group.movement, item, group.members.size() > 1)));
  }
  for (const ChangedText& text : changes.texts) lines.push_back(text_words(text));
  for (const std::string& patch : changes.patches) lines.push_back(patch + ": a permitted patch");
  if (changes.editable_bytes > 0) lines.push_back(places_words(changes));
  if (changes.partial_bytes > 0) lines.push_back(partial_words(changes));
  return lines;
}

std::string item_changes_text(const RegionMap& map, const Image& before, const Image& after,
                              const Page& page) {
  const ChangesByItem changes = changed_items(map, before, after);
  const ItemsCompared compared{map, before, after, changes};
  const std::string text = items_text(compared, page, {});
  return text.empty() ? "" : text + "\n" + limits_text(compared, page);
}

JsonValue item_changes_json(const RegionMap& map, const Image& before, const Image& after) {
  const ChangesByItem changes = changed_items(map, before, after);
  return items_json({map, before, after, changes});
}

}  // namespace calseal
