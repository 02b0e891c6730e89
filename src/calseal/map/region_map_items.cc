// Calibration items of a region map: what the bytes of a calibration mean.
#include <algorithm>
#include <limits>
#include <map>
#include <numeric>
#include <string_view>
#include <unordered_map>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

constexpr std::uint64_t kElementLimit = 65536;                   // of one item
constexpr std::uint64_t kElementTotal = std::uint64_t{1} << 20;  // of all items, after repetition
constexpr std::size_t kUnitLimit = 64;                           // bytes

// An item as written, before its axes are known.
struct Written {
  Item item;
  JsonNode node;
  std::string x, y;  // names of axes, or empty
  std::size_t memory = 0;
  std::uint64_t begin = 0, count = 1, stride = 0;
  bool repeats = false;
};

Decimal read_decimal(const JsonNode& node) {
  const bool is_text = node.is_text();
  const std::string text = node.text();
  const auto decimal = parse_decimal(text);
  if (is_text && !decimal) {
    node.refuse(Reason::kJsonValue, "\"" + printable(text, 60) + "\"",
                "a decimal number as text, like \"-40\" or \"0.0625\", of at most 18 digits");
  }
  return decimal.value_or(Decimal{1, 0});
}

// The extremes of what the type stores; nothing for floating point.
std::vector<std::int64_t> extremes_of(ElementType type) {
  switch (type) {
    case ElementType::kU8:
      return {0, 0xff};
    case ElementType::kS8:
      return {-0x80, 0x7f};
    case ElementType::kU16:
      return {0, 0xffff};
    case ElementType::kS16:
      return {-0x8000, 0x7fff};
    case ElementType::kU32:
      return {0, 0xffffffff};
    case ElementType::kS32:
      return {std::numeric_limits<std::int32_t>::min(), std::numeric_limits<std::int32_t>::max()};
    case ElementType::kF32:
    case ElementType::kF64:
      return {};
  }
  return {};
}

void judge_conversion(const JsonNode& node, const Item& item) {
  if (!node.document().ok()) return;
  if (item.conversion.rational) {
    const auto& [b, c, e, f] = item.conversion.coefficients;
    using Wide = Quantity::Wide;
    const auto scaled = [](Wide product, int places) {
      Wide power = 1;
      for (int i = 0; i < places; ++i) power *= 10;
      return Quantity::fraction(product, power);
    };
    const Quantity one = scaled(Wide{b.digits} * f.digits, b.places + f.places);
    if (one.compare(scaled(Wide{c.digits} * e.digits, c.places + e.places)) == 0)
      node.refuse(Reason::kJsonValue, "a conversion that gives the same value for everything",
                  "b * f different from c * e");
    return;
  }
  if (item.conversion.factor.digits == 0) {
    node.refuse(Reason::kJsonValue, "factor 0", "a factor that tells values apart");
    return;
  }
  for (const std::int64_t stored : extremes_of(item.type)) {
    if (convert(item.conversion, stored).is_defined()) continue;
    node.refuse(Reason::kJsonValue, "factor and offset with too many digits together",
                "numbers that stay below 2^127 at the same number of places");
    return;
  }
}

Conversion read_conversion(JsonObject& object) {
  Conversion conversion;
  if (const auto node = object.optional("rational")) {
    conversion.rational = true;
    const std::vector<JsonNode> numbers = node->items(6);
    if (numbers.size() != 6) {
      node->refuse(Reason::kJsonValue, std::to_string(numbers.size()) + " coefficients", "six: a b c d e f");
      return conversion;
    }
    std::array<Decimal, 6> read;
    for (std::size_t i = 0; i < read.size(); ++i) read[i] = read_decimal(numbers[i]);
    if (node->document().ok() && (read[0].digits != 0 || read[3].digits != 0)) {
      node->refuse(Reason::kJsonValue, "a quadratic conversion",
                   "a = 0 and d = 0, so that it has one inverse");
    }
    conversion.coefficients = {read[1], read[2], read[4], read[5]};
    return conversion;
  }
  if (const auto node = object.optional("factor")) conversion.factor = read_decimal(*node);
  if (const auto node = object.optional("offset")) conversion.offset = read_decimal(*node);
  return conversion;
}

std::string read_axis(JsonObject& object, std::string_view axis, std::string_view count_key,
                      std::uint64_t& count) {
  if (object.has(axis)) return object.text(axis, kPatternLimit);
  count = object.number(count_key, 1, kElementLimit);
  return {};
}

void read_shape(JsonObject& object, Written& written) {
  Item& item = written.item;
  switch (item.kind) {
    case ItemKind::kScalar:
      break;
    case ItemKind::kAxis:
      item.columns = object.number("points", 1, kElementLimit);
      break;
    case ItemKind::kCurve:
      written.x = read_axis(object, "x", "points", item.columns);
      break;
    case ItemKind::kTable:
      written.x = read_axis(object, "x", "columns", item.columns);
      written.y = read_axis(object, "y", "rows", item.rows);
      break;
  }
}

std::string read_unit(JsonObject& object) {
  const auto node = object.optional("unit");
  if (!node) return {};
  std::string unit = read_line(*node);
  if (unit.size() > kUnitLimit)
    node->refuse(Reason::kJsonValue, std::to_string(unit.size()) + " bytes", "a unit of at most 64 bytes");
  return unit;
}

Written read_item(Draft& draft, NameList& names, const JsonNode& node) {
  JsonObject object(node);
  Written written{{}, node, {}, {}, 0, 0, 1, 0, false};
  Item& item = written.item;
  item.name = names.read(draft, object);
  if (const auto title = object.optional("title")) item.title = read_line(*title);
  item.kind = static_cast<ItemKind>(object.choice("kind", {"scalar", "axis", "curve", "table"}));
  written.memory = read_memory(draft, object);
  written.begin = object.address("start");
  item.type =
      static_cast<ElementType>(object.choice("type", {"u8", "s8", "u16", "s16", "u32", "s32", "f32", "f64"}));
  item.order = read_order(object, false);
  read_shape(object, written);
  item.conversion = read_conversion(object);
  item.unit = read_unit(object);
  if (const auto least = object.optional("least")) item.least = read_decimal(*least);
  if (const auto most = object.optional("most")) item.most = read_decimal(*most);
  written.repeats = object.has("count") || object.has("stride");
  if (written.repeats) {
    written.count = object.number("count", 1, kMapItemLimit);
    written.stride = object.number("stride", 1, kAddressLimit);
  }
  item.note = read_note(object);
  object.done();
  judge_conversion(node, item);
  if (item.least && item.most) {
    if (quantity_of(*item.least).compare(*item.most) > 0)
      node.refuse(Reason::kJsonValue, "least above most", "least no larger than most");
  }
  return written;
}

// Axes by name; the i-th of a repetition takes the i-th of its axis' repetition, or the one axis of that
// name.
class Axes {
 public:
  explicit Axes(const std::vector<Written>& all) {
    for (const Written& written : all) {
      if (written.item.kind == ItemKind::kAxis) by_name_.emplace(written.item.name, &written);
    }
  }
  // The axis item as written, or nothing after noting the fault.
  const Written* find(Draft& draft, const Written& user, const std::string& name) const {
    const auto it = by_name_.find(name);
    const bool fits =
        it != by_name_.end() && (!it->second->repeats || (user.repeats && user.count <= it->second->count));
    if (fits) return it->second;
    draft.refuse(Phase::kNames, Reason::kMapName, user.node, "an axis called \"" + printable(name, 70) + "\"",
                 "an item of kind axis, repeated at least as often as what uses it",
                 "correct the name, or declare the axis under \"items\"");
    return nullptr;
  }

 private:
  std::map<std::string, const Written*> by_name_;
};

std::string repeated_name(const Written& written, std::uint64_t index) {
  return written.repeats ? written.item.name + "[" + std::to_string(index) + "]" : written.item.name;
}

}  // namespace

void read_items(Draft& draft, JsonObject& top) {
  const auto list = top.optional("items");
  if (!list) return;
  NameList names;
  std::vector<Written> all;
  for (const JsonNode& node : list->items(kMapItemLimit)) all.push_back(read_item(draft, names, node));
  if (!draft.shape().ok()) return;

  struct Expanded {
    Item item;
    Where where;
    std::string x, y;
  };
  const Axes axes(all);
  std::vector<Expanded> expanded;
  std::uint64_t elements = 0;
  for (Written& written : all) {
    const Written* x = written.x.empty() ? nullptr : axes.find(draft, written, written.x);
    const Written* y = written.y.empty() ? nullptr : axes.find(draft, written, written.y);
    if (x != nullptr) written.item.columns = x->item.columns;
    if (y != nullptr) written.item.rows = y->item.columns;
    const std::uint64_t count = element_count(written.item);
    elements += count * written.count;
    if (count > kElementLimit || elements > kElementTotal ||
        written.count > kMapItemLimit - expanded.size()) {
      written.node.refuse(Reason::kJsonValue, "too many elements or items",
                          "at most 65,536 elements of an item, 1,048,576 of all, and 4,096 items, after "
                          "repetition");
      return;
    }
    written.item.place = {written.memory,
                          read_range(draft, written.node, written.memory, written.begin,
                                     count * element_size(written.item.type), written.count, written.stride)};
    const Where where = draft.keep(written.node);
    for (std::uint64_t i = 0; i < written.count; ++i) {
      Expanded one{written.item, where, x == nullptr ? "" : repeated_name(*x, i),
                   y == nullptr ? "" : repeated_name(*y, i)};
      one.item.name = repeated_name(written, i);
      one.item.place = shifted(written.item.place, written.stride, i);
      expanded.push_back(std::move(one));
    }
  }
  // By index: items are large, and mostly stand in order already.
  std::vector<std::size_t> order(expanded.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, {}, [&](std::size_t i) { return expanded[i].item.place; });
  std::unordered_map<std::string_view, std::size_t> index;
  index.reserve(expanded.size());
  for (const std::size_t i : order) index.emplace(expanded[i].item.name, index.size());
  const auto index_of = [&](const std::string& name) -> std::optional<std::size_t> {
    const auto it = index.find(name);
    if (it == index.end()) return std::nullopt;
    return it->second;
  };
  for (Expanded& one : expanded) {
    one.item.x = index_of(one.x);
    one.item.y = index_of(one.y);
  }
  draft.map.items.reserve(expanded.size());
  for (const std::size_t i : order) {
    Expanded& one = expanded[i];
    draft.map.items.push_back(std::move(one.item));
    draft.items.push_back(one.where);
  }
}

}  // namespace calseal::region_map_draft
