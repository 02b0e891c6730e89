// Pairs of software numbers of one invented family: code grew and was rewritten in parts, blocks moved, grew
// or changed their order, slots went elsewhere, values and software number are others. Where everything lies
// in the new image is known here, so what regions carry says of each place can be judged: a place that it is
// sure of is right, and every other is named among what a person must look at.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <initializer_list>
#include <map>
#include <string>
#include <vector>

#include "calseal/base/file.h"
#include "calseal/map/correct.h"
#include "calseal/study/map_carry.h"
#include "support/fixtures.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kOrigin = 0x80000000, kSize = 0x20000, kCode = 0x800;

// One stretch of the software that the map speaks of.
struct Block {
  std::string name;
  std::uint64_t at = 0, size = 0, slot = 0;
  Bytes bytes;
  bool copied = false;  // stands a second time, complemented, at `copy`
  std::uint64_t copy = 0;
};

struct Software {
  std::string number;
  Bytes code;
  std::uint64_t patch = 0;  // in the code
  std::uint64_t serial = 0;
  std::vector<Block> blocks;
};

// Values that rise and fall slowly, as calibration tables do, with padding behind.
Bytes table(Random& random, std::uint64_t size) {
  Bytes bytes(size, 0xff);
  std::uint64_t value = random.between(200, 50000);
  const std::uint64_t padding = random.between(0, size / 8);
  for (std::uint64_t i = 0; i + 1 < size - padding; i += 2) {
    value += random.between(0, 90);
    value -= std::min<std::uint64_t>(value, random.between(0, 88));
    bytes[i] = static_cast<std::uint8_t>(value);
    bytes[i + 1] = static_cast<std::uint8_t>(value >> 8);
  }
  return bytes;
}

// Instructions of few kinds: the same bytes often come again.
Bytes instructions(Random& random, std::uint64_t size) {
  Bytes bytes(size);
  for (std::uint64_t i = 0; i < size; ++i) {
    bytes[i] = i % 4 == 3 ? static_cast<std::uint8_t>(0x40 + random.between(0, 11))
                          : static_cast<std::uint8_t>(random.between(0, 255) & random.between(0, 255));
  }
  return bytes;
}

std::uint64_t place_behind(Random& random, std::uint64_t at) {
  const std::uint64_t step = std::uint64_t{1} << random.between(2, 9);
  return (at + step - 1) / step * step + random.between(0, 3) * step;
}

// Lays the blocks behind the code, each with its slot behind itself or in the header's table.
void lay(Random& random, Software& software, const std::vector<bool>& in_header) {
  std::uint64_t at = place_behind(random, kCode + software.code.size());
  std::uint64_t slot = 0x200 + random.between(0, 8) * 4;
  for (std::size_t i = 0; i < software.blocks.size(); ++i) {
    Block& block = software.blocks[i];
    block.at = at;
    at += block.size;
    if (in_header[i]) {
      block.slot = slot;
      slot += 4 * random.between(1, 4);
    } else {
      block.slot = at;
      at += 4;
    }
    at = place_behind(random, at);
    if (!block.copied) continue;
    block.copy = at;
    at = place_behind(random, at + block.size);
  }
}

Software draw_old(Random& random) {
  Software old;
  old.number = "FX-" + std::to_string(random.between(1000000, 9999999));
  old.code = instructions(random, random.between(0x2000, 0x6000) & ~std::uint64_t{3});
  old.patch = random.between(0x400, old.code.size() - 0x400) & ~std::uint64_t{3};
  old.serial = 0x100;
  std::vector<bool> in_header;
  for (std::uint64_t i = random.between(3, 7); i > 0; --i) {
    Block block;
    block.name = "block-" + std::to_string(i);
    block.size = random.between(0x40, 0x600) * 4;
    block.bytes = table(random, block.size);
    block.copied = random.between(0, 4) == 0;
    old.blocks.push_back(std::move(block));
    in_header.push_back(random.coin());
  }
  lay(random, old, in_header);
  return old;
}

// The next software number: what its makers may have done to the old one.
Software draw_new(Random& random, const Software& old) {
  Software next = old;
  next.number = "FX-" + std::to_string(random.between(1000000, 9999999));
  // Code: rewritten in places, and bytes put in or taken out before or behind the patch.
  for (std::uint64_t n = random.between(0, 12); n > 0; --n) {
    const std::uint64_t at = random.between(0, next.code.size() - 64);
    const Bytes other = instructions(random, random.between(1, 64));
    std::ranges::copy(other, next.code.begin() + static_cast<std::ptrdiff_t>(at));
  }
  for (std::uint64_t n = random.between(0, 2); n > 0; --n) {
    const std::uint64_t at = random.between(0x100, next.code.size() - 0x100) & ~std::uint64_t{3};
    const std::uint64_t size = 4 * random.between(1, 200);
    if (random.between(0, 3) != 0) {
      const Bytes more = instructions(random, size);
      next.code.insert(next.code.begin() + static_cast<std::ptrdiff_t>(at), more.begin(), more.end());
      if (at <= next.patch) next.patch += size;
    } else if (at + size + 16 < next.patch) {
      next.code.erase(next.code.begin() + static_cast<std::ptrdiff_t>(at),
                      next.code.begin() + static_cast<std::ptrdiff_t>(at + size));
      next.patch -= size;
    }
  }
  if (random.coin()) {
    for (std::size_t i = next.blocks.size(); i > 1; --i) {
      if (random.between(0, 2) == 0) std::swap(next.blocks[i - 1], next.blocks[random.between(0, i - 1)]);
    }
  }
  std::vector<bool> in_header;
  for (Block& block : next.blocks) {
    in_header.push_back(random.between(0, 5) == 0 ? random.coin() : block.slot < kCode);
    // Some values others; now and then all of them; now and then a longer table.
    const std::uint64_t fate = random.between(0, 9);
    if (fate == 0) block.bytes = table(random, block.size);
    if (fate == 1) {
      const Bytes more = table(random, 2 * random.between(1, 40) * 2);
      const std::uint64_t at = random.between(0, block.size / 2) * 2;
      block.bytes.insert(block.bytes.begin() + static_cast<std::ptrdiff_t>(at), more.begin(), more.end());
      block.size = block.bytes.size();
    }
    for (std::uint64_t n = block.size * random.between(0, 4) / 100; n > 0; --n)
      block.bytes[random.between(0, block.size - 1)] = static_cast<std::uint8_t>(random.between(0, 255));
  }
  // Often nothing moves that need not.
  if (random.between(0, 3) == 0 && next.code.size() == old.code.size()) {
    bool same = true;
    for (std::size_t i = 0; i < next.blocks.size(); ++i)
      same = same && next.blocks[i].name == old.blocks[i].name && next.blocks[i].size == old.blocks[i].size;
    if (same) return next;
  }
  lay(random, next, in_header);
  return next;
}

const std::string kMark = "FAMILY-X", kBefore = "4d1e9a07", kAfter = "4d1e9a08";

// By block: most of them CRCs, sums of words, and one whose value says little.
const std::vector<std::pair<std::string_view, std::uint64_t>> kChecks = {
    {kCrc32, 4}, {kCrc32, 4},
    {kCrc16, 2}, {R"({"sum": {"unit": 16, "accumulator": 32}})", 4},
    {kCrc32, 4}, {R"({"sum": {"unit": 8, "accumulator": 16}})", 2},
    {kCrc16, 2}};

// Elements always in the same order, so that the maps of two softwares differ in places alone.
RegionMap map_of(const Software& software) {
  MapBuilder builder;
  builder.memory("flash", kOrigin, kSize);
  builder.recognise(R"({"all": [{"memory": "flash", "at": ")" + address_text(kOrigin + 0x10) +
                    R"(", "bytes": ")" + to_hex(view_of(kMark)) + R"("}], "software_numbers": [")" +
                    software.number + R"("]})");
  builder.field("software", "software-number", kOrigin + 0x20, 10, "ascii", R"("pattern": "FX-#######")");
  builder.field("serial", "serial", kOrigin + software.serial, 8, "hex", R"("binds": true)");
  builder.region("code", "locked", kOrigin + kCode, software.code.size());
  builder.checksum("code", kCrc32, {range_at(kOrigin + kCode, software.code.size())},
                   {slot_at(kOrigin + 0x30, 4)});
  builder.patch("limit", kOrigin + kCode + software.patch, kBefore, kAfter);
  std::vector<const Block*> blocks;
  for (const Block& block : software.blocks) blocks.push_back(&block);
  std::ranges::sort(blocks, {}, [](const Block* block) { return block->name; });
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    const Block& block = *blocks[i];
    builder.region(block.name, "editable", kOrigin + block.at, block.size);
    const auto& [algorithm, size] = kChecks[i % kChecks.size()];
    builder.checksum(block.name, algorithm, {range_at(kOrigin + block.at, block.size)},
                     {slot_at(kOrigin + block.slot, size)});
    if (block.copied)
      builder.copy("of-" + block.name, kOrigin + block.copy, kOrigin + block.at, block.size,
                   R"("transform": "complement")");
  }
  return builder.parse();
}

Image image_of(const Software& software, const RegionMap& map, const Bytes& header, Random& random) {
  Image image = filled_image(map);
  put_bytes(image, kOrigin, header);
  put_text(image, kOrigin + 0x10, kMark);
  put_text(image, kOrigin + 0x20, software.number);
  put_bytes(image, kOrigin + software.serial, random.bytes(8));
  put_bytes(image, kOrigin + kCode, software.code);
  put_bytes(image, kOrigin + kCode + software.patch, *from_hex(kBefore));
  for (const Block& block : software.blocks) put_bytes(image, kOrigin + block.at, block.bytes);
  EXPECT_THAT(correct(make_plan(map, image).value(), image), IsOk());
  return image;
}

// Every place of a map by the name that carrying gives it. Without a base nothing is looked for and nothing
// moves, so this only names them.
std::map<std::string, Range> places_of(const RegionMap& map, const Image& image) {
  std::map<std::string, Range> places;
  const MapCarry same = carry_region_map(map, nullptr, image, "same").value();
  for (const CarriedPlace& place : same.places)
    EXPECT_TRUE(places.emplace(place.what, place.from).second) << place.what << " twice";
  return places;
}

bool is_named(const MapCarry& carried, const std::string& what) {
  return std::ranges::any_of(carried.look,
                             [&](const std::string& line) { return line.starts_with(what + ":"); });
}

struct Tally {
  int places = 0, sure = 0, right = 0;
};

void judge_pair(Random& random, Tally& tally) {
  const Software old = draw_old(random), next = draw_new(random, old);
  const Bytes header = instructions(random, kCode);
  const RegionMap old_map = map_of(old), new_map = map_of(next);
  const Image base = image_of(old, old_map, header, random), image = image_of(next, new_map, header, random);
  const std::map<std::string, Range> truth = places_of(new_map, image);
  const auto carried = carry_region_map(old_map, &base, image, "next");
  ASSERT_THAT(carried, IsOk());
  ASSERT_TRUE(carried->map && !carried->fault);
  for (const CarriedPlace& place : carried->places) {
    ASSERT_TRUE(truth.contains(place.what)) << place.what;
    const bool right = place.to == truth.at(place.what);
    ++tally.places;
    tally.sure += place.sure ? 1 : 0;
    tally.right += right ? 1 : 0;
    EXPECT_TRUE(right || !place.sure)
        << place.what << ": " << range_text(place.from) << " carried to " << range_text(place.to) << ", "
        << place_fate_name(place.fate) << ", is at " << range_text(truth.at(place.what));
    EXPECT_EQ(place.sure, !is_named(*carried, place.what)) << place.what;
  }
  // What is sure is in the map, at its new place.
  for (const Region& region : carried->map->regions) {
    const std::string what = "regions " + region.name;
    const auto place = std::ranges::find(carried->places, what, &CarriedPlace::what);
    ASSERT_NE(place, carried->places.end()) << what;
    EXPECT_EQ(region.place.range, place->to) << what;
  }
  EXPECT_EQ(carried->map->recognition.software_numbers, std::vector<std::string>{next.number});
}

// Every place that it is sure of is right; every other is named. Of some 23 places a pair, with every tenth
// block rewritten and every tenth longer, it must be sure of six in ten to be worth having.
TEST(CarryMap, WhatItIsSureOfIsRight) {
  Random random;
  Tally tally;
  for (int pair = 0; pair < 60; ++pair) judge_pair(random, tally);
  EXPECT_GE(tally.sure * 10, tally.places * 6) << tally.sure << " of " << tally.places;
  EXPECT_GE(tally.right * 100, tally.places * 82) << tally.right << " of " << tally.places;
  RecordProperty("places", tally.places);
  RecordProperty("sure", tally.sure);
  RecordProperty("right", tally.right);
}

// Nothing but the software number changed: all stays, and nothing is left to look at.
TEST(CarryMap, NothingMovedNothingToLookAt) {
  Random random;
  for (int i = 0; i < 10; ++i) {
    Software old = draw_old(random);
    while (old.blocks.size() > 5) old = draw_old(random);  // the sixth has the sum that says little
    Software next = old;
    next.number = "FX-1234567";
    const Bytes header = instructions(random, kCode);
    const RegionMap map = map_of(old);
    const Image base = image_of(old, map, header, random), image = image_of(next, map, header, random);
    const auto carried = carry_region_map(map, &base, image, "next");
    ASSERT_THAT(carried, IsOk());
    EXPECT_TRUE(carried->map);
    EXPECT_TRUE(std::ranges::none_of(carried->places, &CarriedPlace::moved));
    EXPECT_THAT(carried->look, testing::IsEmpty());
  }
}

// An image that has nothing of the family, or hardly any byte known: no place is claimed.
TEST(CarryMap, NothingIsClaimedOfAStrangersImage) {
  Random random;
  const Software old = draw_old(random);
  const RegionMap map = map_of(old);
  const Image base = image_of(old, map, instructions(random, kCode), random);
  const Image stranger = random_image(map, random), blank = filled_image(map);
  Image unknown = base;
  unknown.memories[0].known = {};
  Image zeros = blank;
  std::ranges::fill(zeros.memories[0].bytes, std::uint8_t{0});
  for (const Image* image : std::initializer_list<const Image*>{&stranger, &blank, &unknown, &zeros}) {
    const auto carried = carry_region_map(map, &base, *image, "next");
    ASSERT_THAT(carried, IsOk());
    for (const CarriedPlace& place : carried->places) {
      EXPECT_FALSE(place.sure) << place.what;
      EXPECT_TRUE(is_named(*carried, place.what)) << place.what;
    }
    EXPECT_FALSE(carried->look.empty());
  }
}

// Region maps of every shape that the format has: whatever the images, it ends, and what it gives is a map
// that reads back, or a fault.
TEST(CarryMap, MapsOfEveryShapeAreCarriedOrRefused) {
  Random random;
  int carried = 0;
  for (const auto& entry : std::filesystem::directory_iterator(fixtures() + "/region_maps/good")) {
    const std::string name = entry.path().filename().string();
    const auto map = parse_region_map(read_file(entry.path().string(), 1U << 20).value(), name);
    ASSERT_THAT(map, IsOk());
    std::uint64_t bytes = 0;
    for (const MemoryDeclaration& memory : map->memories) bytes += memory.extent.size();
    if (bytes > 1U << 20) continue;
    SCOPED_TRACE(name);
    const Image base = random_image(*map, random), filled = filled_image(*map);
    Image moved = base;
    for (Memory& memory : moved.memories)
      std::rotate(memory.bytes.begin(),
                  memory.bytes.begin() + static_cast<std::ptrdiff_t>(memory.bytes.size() / 3),
                  memory.bytes.end());
    for (const Image* from : std::initializer_list<const Image*>{nullptr, &base, &filled}) {
      for (const Image* to : {&base, &filled, static_cast<const Image*>(&moved)}) {
        const auto result = carry_region_map(*map, from, *to, "next");
        if (!result) continue;  // the base's tables make no sense
        ++carried;
        EXPECT_TRUE(result->map || result->fault);
        if (result->map) {
          EXPECT_THAT(parse_region_map(result->text, "next.json"), IsOk());
        }
      }
    }
  }
  EXPECT_GT(carried, 20);
}

}  // namespace
}  // namespace calseal
