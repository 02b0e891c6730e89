// Random maps of checksums and copies that depend on each other: any order of declaration gives the same
// image, and all hold.
#include <gtest/gtest.h>

#include <algorithm>
#include <functional>

#include "calseal/map/correct.h"
#include "calseal/map/verify.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMemorySize = 0x1000;
constexpr std::uint64_t kCell = 64;  // node i owns places inside its cell only
constexpr std::uint64_t kData = 0xc00;

struct Part {
  bool is_copy = false;
  std::function<void(MapBuilder&)> declare;
};

std::string algorithm_of(Random& random) {
  const std::vector<std::string> algorithms = {
      std::string(kCrc32),
      std::string(kCrc16),
      R"({"crc": "CRC-32C"})",
      R"({"sum": {"unit": 8, "accumulator": 32}})",
      R"({"sum": {"unit": 16, "order": "big", "operation": "add-end-around"}})",
      R"({"sum": {"unit": 32, "operation": "xor"}})",
      R"({"fletcher": 16})",
      R"({"fletcher": 32, "order": "big"})",
      R"({"adler": 32})"};
  return algorithms[random.between(0, algorithms.size() - 1)];
}

std::string slot_of(Random& random, std::uint64_t at) {
  switch (random.between(0, 3)) {
    case 0:
      return slot_at(at, 8, R"("encoding": "hex-upper")");
    case 1:
      return slot_at(at, 10, R"("encoding": "decimal", "transform": "complement")");
    case 2:
      return slot_at(at, 5, R"("order": "big", "transform": "negate")");
    default:
      return slot_at(at, 4, R"("transform": "reverse")");
  }
}

// Node i reads data and cells of nodes before it, so there is no circle.
std::vector<Part> random_parts(Random& random) {
  std::vector<Part> parts;
  const std::uint64_t count = random.between(2, 24);
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::string name = "n" + std::to_string(i);
    const std::uint64_t cell = i * kCell;
    const auto source = [&](std::uint64_t size) {
      const bool data = i == 0 || random.between(0, 2) == 0;
      return data ? random.between(kData, kMemorySize - size) : random.between(0, i * kCell - size);
    };
    if (random.between(0, 2) == 0) {
      const std::uint64_t size = random.between(1, kCell / 2);
      const std::uint64_t of = source(size);
      const std::string transform =
          random.coin() ? R"("transform": "offset", "offset": 99)" : R"("transform": "complement")";
      parts.push_back({true, [=](MapBuilder& b) { b.copy(name, cell + 8, of, size, transform); }});
      continue;
    }
    std::vector<std::string> coverage;
    for (std::uint64_t k = random.between(1, 4); k > 0; --k) {
      const std::uint64_t size = random.between(1, i == 0 ? 64 : std::min<std::uint64_t>(64, i * kCell));
      coverage.push_back(range_at(source(size), size));
    }
    const std::string algorithm = algorithm_of(random);
    const std::uint64_t swap = random.between(0, 3);
    if (swap == 1) {
      // Data only: a partner may lie in another cell.
      coverage = {range_at(random.between(kData + 4, kMemorySize - 68), random.between(1, 60))};
    }
    const std::string slot = slot_of(random, cell + random.between(0, 16));
    parts.push_back({false, [=](MapBuilder& b) {
                       b.checksum(name, algorithm, coverage, {slot},
                                  swap == 1 ? R"("swap": 32, "complement": "ones")" : R"("add": 1)");
                     }});
  }
  return parts;
}

RegionMap declared(const std::vector<Part>& parts, const std::vector<std::size_t>& order) {
  MapBuilder builder;
  builder.memory("flash", 0, kMemorySize);
  for (const std::size_t i : order) parts[i].declare(builder);
  return builder.parse();
}

TEST(OrderProperty, AnyDeclarationGivesTheSameImageAndAllHold) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    const std::vector<Part> parts = random_parts(random);
    std::vector<std::size_t> order(parts.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    const RegionMap map = declared(parts, order);
    const Image start = random_image(map, random);
    Image image = start;
    const auto plan = make_plan(map, image);
    ASSERT_THAT(plan, IsOk());
    ASSERT_THAT(correct(*plan, image), IsOk());
    ASSERT_EQ(reference::first_wrong(map, image), "");
    for (int shuffle = 0; shuffle < 3; ++shuffle) {
      for (std::size_t i = order.size(); i > 1; --i) std::swap(order[i - 1], order[random.between(0, i - 1)]);
      const RegionMap other = declared(parts, order);
      Image again = start;
      const Plan other_plan = make_plan(other, again).value();
      ASSERT_THAT(correct(other_plan, again), IsOk());
      ASSERT_TRUE(same_bytes(image, again));
      for (std::size_t i = 0; i < other_plan.order.size(); ++i) ASSERT_FALSE(other_plan.order[i].joint);
    }
  }
}

TEST(OrderProperty, CorrectionIsIdempotentAndTouchesDerivedBytesOnly) {
  Random random;
  for (int round = 0; round < 40; ++round) {
    const std::vector<Part> parts = random_parts(random);
    std::vector<std::size_t> order(parts.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    const RegionMap map = declared(parts, order);
    const Image start = random_image(map, random);
    Image image = start;
    const Plan plan = make_plan(map, image).value();
    ASSERT_THAT(correct(plan, image), IsOk());
    const RangeSet derived = plan.bytes_of(0, SpanKind::kDerived);
    for (std::uint64_t a = 0; a < kMemorySize; ++a) {
      if (!derived.contains(a)) {
        ASSERT_EQ(reference::byte_of(image, 0, a), reference::byte_of(start, 0, a));
      }
    }
    Image twice = image;
    const auto report = correct(plan, twice);
    ASSERT_THAT(report, IsOk());
    EXPECT_TRUE(report->corrections.empty());
    EXPECT_TRUE(same_bytes(image, twice));
    for (const CheckOutcome& outcome : verify_checks(plan, image))
      ASSERT_EQ(outcome.state, CheckState::kHolds) << outcome.name;
  }
}

// A ring of any length through checksums that cannot be solved names every member, and nothing else.
TEST(OrderProperty, RingsNameEveryMember) {
  Random random;
  for (int round = 0; round < 30; ++round) {
    const std::uint64_t length = random.between(2, 20);
    MapBuilder builder;
    builder.memory("flash", 0, kMemorySize);
    std::vector<std::uint64_t> order(length);
    for (std::uint64_t i = 0; i < length; ++i) order[i] = i;
    for (std::size_t i = length; i > 1; --i) std::swap(order[i - 1], order[random.between(0, i - 1)]);
    for (const std::uint64_t i : order) {
      builder.checksum("ring" + std::to_string(i) + "x", R"({"adler": 32})",
                       {range_at((i + 1) % length * kCell + 3, 8)}, {slot_at(i * kCell, 4)});
    }
    builder.checksum("reader", kCrc32, {range_at(0, length * kCell)}, {slot_at(kData, 4)});
    const RegionMap map = builder.parse();
    const auto plan = make_plan(map, filled_image(map));
    ASSERT_THAT(plan, FailsWith(Reason::kChecksumCycle));
    for (std::uint64_t i = 0; i < length; ++i) {
      EXPECT_NE(plan.error().place.find("ring" + std::to_string(i) + "x"), std::string::npos);
    }
    EXPECT_EQ(plan.error().place.find("reader"), std::string::npos);
  }
}

// Circles of CRCs: solved or refused, never half.
TEST(OrderProperty, CirclesOfCrcsAreSolvedOrRefused) {
  Random random;
  int solved = 0;
  for (int round = 0; round < 60; ++round) {
    MapBuilder builder;
    builder.memory("flash", 0, kMemorySize);
    const std::uint64_t count = random.between(1, 4);
    for (std::uint64_t i = 0; i < count; ++i) {
      const bool odd = random.coin();
      const std::uint64_t width = random.between(5, 32);
      const std::string poly =
          std::to_string(random.between(0, (std::uint64_t{1} << (width - 1)) - 1) * 2 + 1);
      const std::string algorithm = R"({"crc": {"width": )" + std::to_string(width) + R"(, "poly": )" + poly +
                                    R"(, "init": 1, "refin": )" + (odd ? "true" : "false") +
                                    R"(, "refout": )" + (odd ? "true" : "false") + R"(, "xorout": 3}})";
      builder.checksum("c" + std::to_string(i), algorithm, {range_at(random.between(0, 32), 0x120)},
                       {slot_at(0x40 + i * 0x18, 4)});
    }
    const RegionMap map = builder.parse();
    Image image = random_image(map, random);
    const auto plan = make_plan(map, image);
    if (!plan) {
      ASSERT_THAT(plan, FailsWith(Reason::kChecksumCycle));
      continue;
    }
    ++solved;
    ASSERT_THAT(correct(*plan, image), IsOk());
    ASSERT_EQ(reference::first_wrong(map, image), "");
  }
  EXPECT_GT(solved, 0);
}

}  // namespace
}  // namespace calseal
