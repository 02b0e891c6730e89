// Damaged maps: whatever a byte turns into, the parser answers, and what it takes is sound.
#include <gtest/gtest.h>

#include <filesystem>

#include "calseal/base/file.h"
#include "calseal/map/region_map.h"
#include "support/fixtures.h"
#include "support/matchers.h"
#include "support/random.h"
#include "support/region_map_soundness.h"

namespace calseal {
namespace {

std::vector<Bytes> good_maps() {
  std::vector<Bytes> maps;
  for (const auto& entry : std::filesystem::directory_iterator(fixtures() + "/region_maps/good")) {
    maps.push_back(read_file(entry.path(), kRegionMapSizeLimit).value());
  }
  return maps;
}

void expect_answer(Bytes text) {
  const auto map = parse_region_map(std::move(text), "map");
  if (map) {
    EXPECT_EQ(unsound_part(*map), "");
  } else {
    EXPECT_THAT(map, FailsWith(map.error().reason));
  }
}

TEST(RegionMapMutation, ByteChangesNeverBreakTheParser) {
  Random random;
  for (const Bytes& good : good_maps()) {
    for (int round = 0; round < 150; ++round) {
      Bytes text = good;
      for (std::uint64_t changes = random.between(1, 4); changes > 0; --changes) {
        // Mostly digits, so that many changes survive the JSON grammar.
        text[random.between(0, text.size() - 1)] =
            static_cast<std::uint8_t>(random.coin() ? random.between('0', '9') : random.between(0, 255));
      }
      expect_answer(std::move(text));
    }
  }
}

TEST(RegionMapMutation, ChangedDigitsAloneNeverBreakTheParser) {
  Random random;
  for (const Bytes& good : good_maps()) {
    std::vector<std::size_t> digits;
    for (std::size_t i = 0; i < good.size(); ++i) {
      if (good[i] >= '0' && good[i] <= '9') digits.push_back(i);
    }
    for (int round = 0; round < 150; ++round) {
      Bytes text = good;
      text[digits[random.between(0, digits.size() - 1)]] =
          static_cast<std::uint8_t>(random.between('0', '9'));
      expect_answer(std::move(text));
    }
  }
}

TEST(RegionMapMutation, TruncationIsAlwaysRefused) {
  Random random;
  for (const Bytes& good : good_maps()) {
    for (int round = 0; round < 50; ++round) {
      Bytes text = good;
      text.resize(random.between(1, good.size() - 3));  // the final "}\n" is what makes it whole
      EXPECT_THAT(parse_region_map(text, "map"), FailsWith(Reason::kJsonSyntax));
    }
  }
}

}  // namespace
}  // namespace calseal
