// Random maps and edits: every changed byte counts once, and values read back as the bytes that were stored.
#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "calseal/change/by_item.h"
#include "calseal/map/item_words.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kFlashSize = 0x480;

std::string random_conversion(Random& random) {
  const char* const conversions[] = {"",
                                     R"(, "factor": "0.1")",
                                     R"(, "factor": "-0.25", "offset": "40")",
                                     R"(, "factor": "0.0000152587890625")",
                                     R"(, "factor": "12.5", "offset": "-0.5")",
                                     R"(, "rational": ["0", "81.9175", "3", "0", "0", "1"])",
                                     R"(, "rational": ["0", "0", "60000000", "0", "1", "0"])"};
  return conversions[random.between(0, 6)];
}

RegionMap map_with_items(Random& random) {
  MapBuilder builder;
  builder.memory("flash", 0, kFlashSize);
  const char* const policies[] = {"editable", "editable", "volatile", "locked"};
  for (std::uint64_t at = 0; at < 0x380; at += 0x40)
    builder.region("r" + std::to_string(at), policies[random.between(0, 3)], at, 0x40);
  builder.checksum("c", kCrc32, {range_at(0, 0x100)}, {slot_at(0x3a0, 4)});
  builder.checksum("d", kCrc16, {range_at(0x100, 0x100)}, {slot_at(0x3b0, 2)});
  builder.copy("e", 0x3c0, 0x20, 16).patch("p", 0x3e0, "ffff", "0001");
  builder.field("mark", "other", 0x390, 4, "hex");
  const char* const types[] = {"u8", "s8", "u16", "s16", "u32", "s32", "f32", "f64"};
  const std::uint64_t sizes[] = {1, 1, 2, 2, 4, 4, 4, 8};
  std::uint64_t at = random.between(0, 16);
  for (int i = 0; at < 0x3b8; ++i) {
    const std::uint64_t type = random.between(0, 7), points = random.between(1, 12);
    const std::string name = "i" + std::to_string(i);
    builder.add("items", R"({"name": ")" + name + R"(", "kind": "curve", "memory": "flash", "start": ")" +
                             address_text(at) + R"(", "points": )" + std::to_string(points) +
                             R"(, "type": ")" + types[type] + R"(", "order": ")" +
                             (random.between(0, 1) == 0 ? "little" : "big") + "\"" +
                             random_conversion(random) + "}");
    at += points * sizes[type] + random.between(0, 20);
  }
  return builder.parse();
}

bool is_known_element(const Item& item, std::uint64_t at, const Image& before, const Image& after) {
  const std::uint64_t size = element_size(item.type);
  const std::uint64_t begin = at - (at - item.place.range.begin) % size;
  return before.memories[0].knows({begin, begin + size}) && after.memories[0].knows({begin, begin + size});
}

struct Counts {
  std::uint64_t items = 0, texts = 0, editable = 0, partial = 0, derived = 0, patch = 0, vehicle = 0,
                locked = 0;
  friend bool operator==(const Counts&, const Counts&) = default;
};

// Byte by byte, by the words of the format's page.
Counts count(const RegionMap& map, const Image& before, const Image& after) {
  Counts counts;
  for (std::uint64_t at = 0; at < kFlashSize; ++at) {
    if (!before.memories[0].known.contains(at) || !after.memories[0].known.contains(at)) continue;
    if (before.memories[0].view({at, at + 1})[0] == after.memories[0].view({at, at + 1})[0]) continue;
    const auto item =
        std::ranges::find_if(map.items, [&](const Item& i) { return i.place.range.contains(at); });
    const Policy policy = policy_at(map, 0, at);
    if (item != map.items.end() && is_known_element(*item, at, before, after))
      ++counts.items;
    else if (policy == Policy::kDerived)
      ++counts.derived;
    else if (policy == Policy::kVolatile)
      ++counts.vehicle;
    else if (policy == Policy::kEditable)
      ++(map.identity[0].place.range.contains(at) ? counts.texts
         : item != map.items.end()                ? counts.partial
                                                  : counts.editable);
    else
      ++(map.patches[0].place.range.contains(at) ? counts.patch : counts.locked);
  }
  return counts;
}

Counts counts_of(const ChangesByItem& changes) {
  Counts counts{changes.item_bytes,     0,
                changes.editable_bytes, changes.partial_bytes,
                changes.derived_bytes,  changes.patch_bytes,
                changes.vehicle_bytes,  changes.locked_bytes};
  for (const ChangedText& text : changes.texts) counts.texts += text.bytes;
  return counts;
}

// The words of a value name this stored number and no neighbour of it.
void expect_reads_back(const Item& item, const Image& image, std::uint64_t element, int places) {
  const Quantity value = item_value(item, image, element);
  if (is_floating(item.type) || !value.is_defined()) return;
  std::string words = number_words(value, places);
  std::erase(words, ',');
  const auto decimal = parse_decimal(words);
  ASSERT_TRUE(decimal) << words;
  const auto distance = [&](const Quantity& from) {
    const Quantity shown = quantity_of(*decimal);
    return shown.compare(from) < 0 ? from.minus(shown) : shown.minus(from);
  };
  const std::int64_t stored = stored_number(item, image, element);
  for (const std::int64_t other : {stored - 1, stored + 1}) {
    const Quantity neighbour = convert(item.conversion, other);
    if (!neighbour.is_defined()) continue;
    EXPECT_TRUE(distance(value).compare(distance(neighbour)) < 0)
        << words << " stands for " << stored << " as well as for " << other;
  }
}

TEST(ByItemProperty, EveryChangedByteCountsOnceAndValuesReadBack) {
  Random random;
  std::uint64_t elements = 0;
  for (int round = 0; round < 300; ++round) {
    const RegionMap map = map_with_items(random);
    Image before = random_image(map, random);
    for (std::uint64_t gaps = random.between(0, 3); gaps > 0; --gaps)
      forget(before, random.between(0, kFlashSize - 9), random.between(1, 8));
    Image after = before;
    for (std::uint64_t edits = random.between(0, 30); edits > 0; --edits) {
      const std::uint64_t at = random.between(0, kFlashSize - 9), size = random.between(1, 8);
      if (before.memories[0].known.contains(Range{at, at + size})) put_bytes(after, at, random.bytes(size));
    }
    forget(after, random.between(0, kFlashSize - 9), random.between(1, 8));
    const auto plan = make_plan(map, before);
    ASSERT_TRUE(plan);
    const ChangesByItem changes = changes_by_item(*plan, before, after, compare_images(*plan, before, after));
    EXPECT_EQ(counts_of(changes), count(map, before, after));
    std::uint64_t in_groups = 0;
    for (const ItemGroup& group : changes.groups) in_groups += group.members.size();
    EXPECT_EQ(in_groups, changes.items.size());
    for (const ChangedItem& item : changes.items) {
      for (std::size_t i = 0; i < item.places.size(); ++i, ++elements) {
        expect_reads_back(*item.change.item, before, item.change.elements[i], item.places[i]);
        expect_reads_back(*item.change.item, after, item.change.elements[i], item.places[i]);
      }
    }
  }
  EXPECT_GT(elements, 1000U);
}

}  // namespace
}  // namespace calseal
