#include "calseal/map/items.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

#include "calseal/base/text.h"
#include "calseal/map/value.h"

namespace calseal {
namespace {

struct TypeInfo {
  std::uint64_t size;
  bool is_signed;
};

// In the order of ElementType.
constexpr std::array<TypeInfo, 8> kTypes = {{{1, false},   // u8
                                             {1, true},    // s8
                                             {2, false},   // u16
                                             {2, true},    // s16
                                             {4, false},   // u32
                                             {4, true},    // s32
                                             {4, true},    // f32
                                             {8, true}}};  // f64

const TypeInfo& info_of(ElementType type) { return kTypes[static_cast<std::size_t>(type)]; }

std::int64_t sign_extended(std::uint64_t word, std::uint64_t size) {
  const int shift = static_cast<int>(64 - 8 * size);
  return static_cast<std::int64_t>(word << shift) >> shift;
}

}  // namespace

std::uint64_t element_size(ElementType type) { return info_of(type).size; }

bool is_floating(ElementType type) { return type == ElementType::kF32 || type == ElementType::kF64; }

Range element_range(const Item& item, std::uint64_t element) {
  const std::uint64_t size = element_size(item.type);
  const std::uint64_t begin = item.place.range.begin + element * size;
  return {begin, begin + size};
}

std::int64_t stored_number(const Item& item, const Image& image, std::uint64_t element) {
  const Range range = element_range(item, element);
  const std::uint64_t word = decode_word(image.memories[item.place.memory].view(range), item.order);
  return info_of(item.type).is_signed ? sign_extended(word, range.size()) : static_cast<std::int64_t>(word);
}

std::string_view item_kind_name(ItemKind kind) {
  constexpr std::array<std::string_view, 4> kNames = {"scalar", "axis", "curve", "table"};
  return kNames[static_cast<std::size_t>(kind)];
}

std::uint64_t element_count(const Item& item) { return item.columns * item.rows; }

Quantity item_value(const Item& item, const Image& image, std::uint64_t element) {
  const Memory& memory = image.memories[item.place.memory];
  const Range range = element_range(item, element);
  if (!memory.knows(range)) return {};
  const std::uint64_t word = decode_word(memory.view(range), item.order);
  if (item.type == ElementType::kF32) {
    const float value = std::bit_cast<float>(static_cast<std::uint32_t>(word));
    return convert_floating(item.conversion, static_cast<double>(value), true);
  }
  if (item.type == ElementType::kF64)
    return convert_floating(item.conversion, std::bit_cast<double>(word), false);
  return convert(item.conversion, stored_number(item, image, element));
}

const Item* item_at(const RegionMap& map, std::size_t memory, std::uint64_t address) {
  const auto it = std::upper_bound(map.items.begin(), map.items.end(), std::pair(memory, address),
                                   [](const auto& value, const Item& item) {
                                     return value < std::pair(item.place.memory, item.place.range.end);
                                   });
  if (it == map.items.end() || it->place.memory != memory || !it->place.range.contains(address))
    return nullptr;
  return &*it;
}

const Item* find_item(const RegionMap& map, std::string_view name) {
  const auto it = std::ranges::find(map.items, name, &Item::name);
  return it == map.items.end() ? nullptr : &*it;
}

std::vector<ItemChange> compare_items(const RegionMap& map, const Image& before, const Image& after) {
  std::vector<ItemChange> changes;
  for (const Item& item : map.items) {
    const Memory& from = before.memories[item.place.memory];
    const Memory& to = after.memories[item.place.memory];
    const ByteView old_bytes = from.view(item.place.range);
    const ByteView new_bytes = to.view(item.place.range);
    if (std::memcmp(old_bytes.data(), new_bytes.data(), old_bytes.size()) == 0) continue;
    ItemChange change{&item, {}, {}, {}};
    const std::uint64_t size = element_size(item.type);
    for (auto at = old_bytes.begin();;) {
      at = std::mismatch(at, old_bytes.end(), new_bytes.begin() + (at - old_bytes.begin())).first;
      if (at == old_bytes.end()) break;
      const std::uint64_t element = static_cast<std::uint64_t>(at - old_bytes.begin()) / size;
      at = old_bytes.begin() + static_cast<std::ptrdiff_t>((element + 1) * size);
      const Range range = element_range(item, element);
      if (!from.knows(range) || !to.knows(range)) continue;
      change.elements.push_back(element);
      change.before.push_back(item_value(item, before, element));
      change.after.push_back(item_value(item, after, element));
    }
    if (!change.elements.empty()) changes.push_back(std::move(change));
  }
  return changes;
}

std::string element_text(const Item& item, std::uint64_t element) {
  if (item.kind == ItemKind::kScalar) return {};
  const std::string column = "[" + std::to_string(element % item.columns) + "]";
  return item.kind == ItemKind::kTable ? "[" + std::to_string(element / item.columns) + "]" + column : column;
}

std::string_view breach_name(ItemBreach::Kind kind) {
  constexpr std::array<std::string_view, 4> kNames = {"below", "above", "undefined", "not-rising"};
  return kNames[static_cast<std::size_t>(kind)];
}

std::string breach_text(const ItemBreach& breach) {
  const Item& item = *breach.item;
  const std::string unit = item.unit->empty() ? "" : " " + *item.unit;
  std::string text = item.name + element_text(item, breach.element);
  switch (breach.kind) {
    case ItemBreach::Kind::kBelow:
      text += " is " + breach.value.text() + unit + ", below " + decimal_text(*item.least) + unit;
      break;
    case ItemBreach::Kind::kAbove:
      text += " is " + breach.value.text() + unit + ", above " + decimal_text(*item.most) + unit;
      break;
    case ItemBreach::Kind::kUndefined:
      text += " has no physical value";
      break;
    case ItemBreach::Kind::kNotRising:
      text += " is " + breach.value.text() + unit + ", not above the point before it";
      break;
  }
  if (breach.count > 1) text += ", and " + std::to_string(breach.count - 1) + " more of it";
  return text;
}

std::vector<ItemBreach> judge_item(const Item& item, const Image& image) {
  std::vector<ItemBreach> breaches;
  const auto note = [&](ItemBreach::Kind kind, std::uint64_t element, const Quantity& value) {
    const auto known = std::ranges::find(breaches, kind, &ItemBreach::kind);
    if (known != breaches.end()) {
      ++known->count;
    } else {
      breaches.push_back({kind, &item, element, 1, value});
    }
  };
  std::optional<Quantity> last;
  for (std::uint64_t element = 0; element < element_count(item); ++element) {
    if (!image.memories[item.place.memory].knows(element_range(item, element))) {
      last.reset();
      continue;
    }
    const Quantity value = item_value(item, image, element);
    if (!value.is_defined()) note(ItemBreach::Kind::kUndefined, element, value);
    if (item.least && value.compare(*item.least) < 0) note(ItemBreach::Kind::kBelow, element, value);
    if (item.most && value.compare(*item.most) > 0) note(ItemBreach::Kind::kAbove, element, value);
    if (item.kind == ItemKind::kAxis && last && last->is_defined() && value.is_defined() &&
        !(value.compare(*last) > 0))
      note(ItemBreach::Kind::kNotRising, element, value);
    last = value;
  }
  std::ranges::sort(breaches, {}, &ItemBreach::kind);
  return breaches;
}

std::vector<ItemBreach> judge_changed_items(const std::vector<ItemChange>& changes, const Image& after) {
  std::vector<ItemBreach> breaches;
  for (const ItemChange& change : changes) {
    for (ItemBreach& breach : judge_item(*change.item, after)) breaches.push_back(std::move(breach));
  }
  return breaches;
}

}  // namespace calseal
