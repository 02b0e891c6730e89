// Bends one value of a JSON tree, so that what comes out is still JSON and can be written canonically.
#pragma once

#include <array>
#include <cstdlib>
#include <string>
#include <utility>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/base/text.h"
#include "fuzz/recipe.h"

namespace calseal {

struct JsonSpot {
  JsonValue* value = nullptr;
  JsonValue* parent = nullptr;  // nullptr for the root
  std::size_t index = 0;        // among the parent's items or members
};

inline void collect_spots(JsonValue& value, JsonValue* parent, std::size_t index,
                          std::vector<JsonSpot>& out) {
  out.push_back({&value, parent, index});
  for (std::size_t i = 0; i < value.items.size(); ++i) collect_spots(value.items[i], &value, i, out);
  for (std::size_t i = 0; i < value.members.size(); ++i)
    collect_spots(value.members[i].second, &value, i, out);
}

inline void bend_integer(std::uint64_t& integer, const Bend& bend) {
  static constexpr std::array<std::uint64_t, 16> kEdges = {0,
                                                           1,
                                                           2,
                                                           7,
                                                           8,
                                                           16,
                                                           255,
                                                           256,
                                                           1024,
                                                           4096,
                                                           65535,
                                                           65536,
                                                           std::uint64_t{1} << 28,
                                                           (std::uint64_t{1} << 32) - 1,
                                                           std::uint64_t{1} << 32,
                                                           kJsonIntegerLimit};
  switch (bend.value % 4) {
    case 0:
      integer = kEdges[(bend.value >> 2U) % kEdges.size()];
      break;
    case 1:
      integer = (integer + 1 + (bend.value >> 2U)) & kJsonIntegerLimit;
      break;
    case 2:
      integer = (integer - 1 - (bend.value >> 2U)) & kJsonIntegerLimit;
      break;
    default:
      integer ^= std::uint64_t{1} << ((bend.value >> 2U) % 53);
  }
}

inline void bend_string(std::string& text, const Bend& bend) {
  if (text.size() == 10 && text.starts_with("0x")) {  // an address, or a CRC-32
    std::uint64_t number = std::strtoull(text.c_str(), nullptr, 16);
    bend_integer(number, bend);
    text = hex_number(number & 0xffffffffU, 8);
    return;
  }
  const std::size_t at = text.empty() ? 0 : (bend.value >> 8U) % text.size();
  switch (bend.value % 5) {
    case 0:
      text.clear();
      break;
    case 1:
      text.insert(at, 1, static_cast<char>('a' + (bend.value >> 3U) % 26));
      break;
    case 2:
      if (!text.empty()) text[at] = static_cast<char>(text[at] ^ (1 << ((bend.value >> 3U) % 7)));
      break;
    case 3:
      if (!text.empty()) text.erase(at, 1 + (bend.value >> 3U) % 8);
      break;
    default:
      text += text.substr(0, 256);
  }
}

// Takes the spot that `where` says and bends it as `how` says; the root is never removed.
inline void bend_json(JsonValue& root, const Bend& bend) {
  std::vector<JsonSpot> spots;
  collect_spots(root, nullptr, 0, spots);
  const JsonSpot spot = spots[bend.where % spots.size()];
  JsonValue& value = *spot.value;
  const bool in_list = spot.parent != nullptr && spot.parent->kind == JsonValue::Kind::kArray;
  switch (bend.how % 8) {
    case 0:
    case 1:
      if (value.kind == JsonValue::Kind::kInteger) bend_integer(value.integer, bend);
      if (value.kind == JsonValue::Kind::kString) bend_string(value.text, bend);
      if (value.kind == JsonValue::Kind::kBoolean) value.boolean = !value.boolean;
      if (value.kind == JsonValue::Kind::kArray && !value.items.empty()) value.items.pop_back();
      break;
    case 2: {  // what stands elsewhere
      JsonValue copy = *spots[bend.value % spots.size()].value;
      value = std::move(copy);
      break;
    }
    case 3:
      if (spot.parent == nullptr) break;
      if (in_list) {
        spot.parent->items.erase(spot.parent->items.begin() + static_cast<std::ptrdiff_t>(spot.index));
      } else {
        spot.parent->members.erase(spot.parent->members.begin() + static_cast<std::ptrdiff_t>(spot.index));
      }
      break;
    case 4:
      if (in_list) {
        JsonValue copy = value;
        spot.parent->items.insert(spot.parent->items.begin() + static_cast<std::ptrdiff_t>(spot.index),
                                  std::move(copy));
      }
      break;
    case 5:
      if (in_list) std::swap(value, spot.parent->items[bend.value % spot.parent->items.size()]);
      break;
    case 6:  // the key itself
      if (spot.parent != nullptr && !in_list) bend_string(spot.parent->members[spot.index].first, bend);
      break;
    default: {  // the value of the same kind that follows
      for (std::size_t i = 1; i < spots.size(); ++i) {
        const JsonValue& other = *spots[(bend.where + i) % spots.size()].value;
        if (&other == &value || other.kind != value.kind || i < bend.value % 16) continue;
        JsonValue copy = other;
        value = std::move(copy);
        break;
      }
    }
  }
}

// The text bent, one bend after the other, canonical; as it was when it is no JSON.
inline std::string bent_json(const std::string& text, const std::vector<Bend>& bends) {
  if (bends.empty()) return text;
  auto root = parse_json(text, "input");
  if (!root) return text;
  for (const Bend& bend : bends) bend_json(*root, bend);
  return canonical_json(*root);
}

}  // namespace calseal
