// Calibration items of an image: their stored and physical values, where they differ between two images, and
// whether they stay within their limits. Reads values only; nothing here writes one.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/quantity.h"
#include "calseal/map/region_map.h"

namespace calseal {

// Bytes of one element: 1, 2, 4 or 8.
std::uint64_t element_size(ElementType type);
bool is_floating(ElementType type);              // IEEE 754
std::string_view item_kind_name(ItemKind kind);  // "scalar", "axis", "curve", "table"

// Elements of an item; one for a scalar.
std::uint64_t element_count(const Item& item);

// The physical value of one element (row by row; 0 <= element < element_count). Undefined where its bytes are
// unknown.
Quantity item_value(const Item& item, const Image& image, std::uint64_t element);

// The stored number of an element of whole numbers whose bytes are known.
std::int64_t stored_number(const Item& item, const Image& image, std::uint64_t element);

// The bytes of one element.
Range element_range(const Item& item, std::uint64_t element);

// The item that holds an address, or nothing. Items never share bytes.
const Item* item_at(const RegionMap& map, std::size_t memory, std::uint64_t address);
const Item* find_item(const RegionMap& map, std::string_view name);

// What changed in one item from one image to another.
struct ItemChange {
  const Item* item = nullptr;           // lives in the region map
  std::vector<std::uint64_t> elements;  // that differ in any byte, ascending
  std::vector<Quantity> before, after;  // one for each of `elements`
};

// Items of which a known byte differs, in map order (by memory and address).
std::vector<ItemChange> compare_items(const RegionMap& map, const Image& before, const Image& after);

// "[3]" of a curve or axis, "[2][3]" (row, column) of a table, "" of a scalar.
std::string element_text(const Item& item, std::uint64_t element);

// A value past its item's limits, or not defined; or an axis point that is not above the one before it.
struct ItemBreach {
  enum class Kind : std::uint8_t { kBelow, kAbove, kUndefined, kNotRising } kind = Kind::kBelow;
  const Item* item = nullptr;
  std::uint64_t element = 0;  // the first; for kNotRising the point that does not rise
  std::uint64_t count = 1;    // elements of the item with this kind of breach
  Quantity value;
};
std::string_view breach_name(ItemBreach::Kind kind);  // "below", "above", "undefined", "not-rising"
std::string breach_text(const ItemBreach& breach);    // for people, with value, limit and unit

// At most one breach of each kind for an item. Elements with unknown bytes are not judged.
std::vector<ItemBreach> judge_item(const Item& item, const Image& image);

// Breaches of `after` in the items of `changes`: what the base holds already is not the revision's.
std::vector<ItemBreach> judge_changed_items(const std::vector<ItemChange>& changes, const Image& after);

}  // namespace calseal
