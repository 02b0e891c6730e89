// Pairs of software numbers of one invented family: the calibration of the second is shifted, its blocks are
// put in another order, some of their values are rewritten. Where every edit truly belongs is known.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <numeric>

#include "calseal/option/carry.h"
#include "support/matchers.h"
#include "support/option_sample.h"
#include "support/random.h"

namespace calseal {
namespace {

constexpr int kPairs = 100;
constexpr std::uint64_t kSize = 0x10000;
constexpr std::uint64_t kCalibration = 0x8000;
constexpr int kBlocks = 48;

void put_word(Bytes& bytes, std::size_t at, std::uint64_t value) {
  bytes[at] = static_cast<std::uint8_t>(value);
  bytes[at + 1] = static_cast<std::uint8_t>(value >> 8);
}

// A table with its two axes, smooth as calibrations are.
Bytes draw_block(Random& random) {
  const std::size_t columns = random.between(4, 16);
  const std::size_t rows = random.between(1, 12);
  Bytes block(2 * (columns + rows + columns * rows));
  std::size_t at = 0;
  for (const std::size_t points : {columns, rows}) {
    std::uint64_t value = random.between(100, 900);
    for (std::size_t i = 0; i < points; ++i, at += 2) put_word(block, at, value += random.between(40, 400));
  }
  const std::uint64_t level = random.between(200, 20000);
  const std::uint64_t slope = random.between(1, 60);
  for (std::size_t i = 0; i < columns * rows; ++i, at += 2)
    put_word(block, at, level + slope * (i % columns) + 7 * (i / columns) + random.between(0, 5));
  return block;
}

struct Software {
  Image image;
  std::vector<std::uint64_t> begins;  // of each block, by its number
};

RegionMap family_map() {
  MapBuilder builder;
  builder.memory("flash", 0, kSize)
      .region("calibration", "editable", kCalibration, kSize - kCalibration)
      .field("software", "software-number", 0, 8, "ascii");
  return builder.parse();
}

Software lay(const RegionMap& map, Random& random, const std::vector<Bytes>& blocks,
             const std::vector<std::size_t>& order, std::uint64_t first, std::string_view number) {
  Software software{filled_image(map), std::vector<std::uint64_t>(blocks.size())};
  Bytes& bytes = software.image.memories[0].bytes;
  const Bytes code = random.bytes(kCalibration);
  std::ranges::copy(code, bytes.begin());
  put_text(software.image, 0, number);
  std::uint64_t at = first;
  for (const std::size_t block : order) {
    software.begins[block] = at;
    std::ranges::copy(blocks[block], bytes.begin() + static_cast<std::ptrdiff_t>(at));
    at += blocks[block].size() + 2 * random.between(0, 3);
  }
  return software;
}

TEST(CarryProperty, NothingGoesToAWrongPlace) {
  Random random;
  const RegionMap map = family_map();
  int right = 0, refused = 0, wrong = 0, wrong_twin = 0, due = 0, due_right = 0, whole = 0;
  for (int pair = 0; pair < kPairs; ++pair) {
    std::vector<Bytes> blocks;
    for (int i = 0; i < kBlocks; ++i) blocks.push_back(draw_block(random));
    // Twins: no search can tell which of the two an edit belongs to.
    std::vector<bool> twin(blocks.size(), false);
    for (int i = 0; i < 2; ++i) {
      blocks[static_cast<std::size_t>(2 * i + 1)] = blocks[static_cast<std::size_t>(2 * i)];
      twin[static_cast<std::size_t>(2 * i)] = twin[static_cast<std::size_t>(2 * i + 1)] = true;
    }
    std::vector<std::size_t> order(blocks.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::ranges::shuffle(order, *std::make_unique<std::mt19937_64>(random.between(0, ~std::uint64_t{0})));
    const Software old_one = lay(map, random, blocks, order, kCalibration + 0x100, "SW-00001");

    // The maker's next software: some blocks elsewhere, some values other.
    std::vector<Bytes> next = blocks;
    for (Bytes& block : next) {
      if (random.between(0, 99) >= 30) continue;
      for (std::size_t at = 0; at + 1 < block.size(); at += 2) {
        if (random.between(0, 99) < 8) put_word(block, at, random.between(0, 0xffff));
      }
    }
    for (int moves = 0; moves < 12; ++moves)
      std::swap(order[random.between(0, order.size() - 1)], order[random.between(0, order.size() - 1)]);
    const Software new_one =
        lay(map, random, next, order, kCalibration + 2 * random.between(0, 0x300), "SW-00002");

    std::vector<OptionEdit> edits;
    std::vector<std::pair<std::size_t, std::uint64_t>> truth;  // block, offset
    std::vector<std::size_t> chosen(blocks.size());
    std::iota(chosen.begin(), chosen.end(), std::size_t{0});
    std::ranges::shuffle(chosen, *std::make_unique<std::mt19937_64>(random.between(0, ~std::uint64_t{0})));
    for (std::size_t i = 0; i < 10; ++i) {
      const std::size_t block = chosen[i];
      const std::uint64_t words = random.between(1, 4);
      const std::uint64_t offset = 2 * random.between(0, blocks[block].size() / 2 - words);
      Bytes after(blocks[block].begin() + static_cast<std::ptrdiff_t>(offset),
                  blocks[block].begin() + static_cast<std::ptrdiff_t>(offset + 2 * words));
      for (std::uint8_t& byte : after) byte = static_cast<std::uint8_t>(byte + 3);
      edits.push_back(edit_at(old_one.image, old_one.begins[block] + offset, after));
      truth.emplace_back(block, offset);
    }
    const OptionFile option = option_file(option_named("tune", edits));
    const Plan old_plan = make_plan(map, old_one.image).value();
    const Plan new_plan = make_plan(map, new_one.image).value();
    const auto carried = carry_option(old_plan, old_one.image, option, new_plan, new_one.image);
    ASSERT_THAT(carried, IsOk());
    whole += carried->is_whole();
    for (std::size_t i = 0; i < edits.size(); ++i) {
      const auto [block, offset] = truth[i];
      const std::uint64_t there = new_one.begins[block] + offset;
      const bool stands = std::ranges::equal(
          new_one.image.memories[0].view({there, there + edits[i].before.size()}), edits[i].before);
      const bool is_due = stands && !twin[block];
      const CarriedEdit& edit = carried->edits[i];
      const bool moved = edit.outcome == CarryOutcome::kCarried;
      const bool is_right = moved && edit.to.range.begin == there;
      right += is_right;
      (twin[block] ? wrong_twin : wrong) += moved && !is_right;
      refused += !moved;
      due += is_due;
      due_right += is_due && is_right;
    }
  }
  std::printf(
      "carried %d pairs, %d edits: %d right, %d refused, %d wrong, %d to a twin; of %d that had one sure "
      "place "
      "%d right; %d options whole\n",
      kPairs, 10 * kPairs, right, refused, wrong, wrong_twin, due, due_right, whole);
  EXPECT_EQ(wrong, 0);
  EXPECT_LE(wrong_twin, 3);              // of 1,000; 13 of 250,000 on 2026-11-30
  EXPECT_GE(due_right * 100, due * 93);  // 95 is the aim; draws differ
  EXPECT_GT(due, 5 * kPairs);
}

}  // namespace
}  // namespace calseal
