// Floating, areas and write ranges, against following every byte's dependence one by one.
#include <gtest/gtest.h>

#include <algorithm>

#include "calseal/map/correct.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSize = 0x400;

RegionMap random_map(Random& random) {
  MapBuilder builder;
  builder.memory("flash", 0, kSize);
  const char* const policies[] = {"locked", "editable", "volatile"};
  for (std::uint64_t i = 0; i < 8; ++i) {
    builder.region("r" + std::to_string(i), policies[random.between(0, 2)], 0x200 + i * 0x40,
                   random.between(1, 0x40));
  }
  builder.patch("p", 0x1f0, "ff", "00");
  for (std::uint64_t i = 0; i < 10; ++i) {
    const std::uint64_t cell = i * 0x20;
    const std::uint64_t size = random.between(1, 12);
    const std::uint64_t from = random.coin() ? random.between(0x1e0, kSize - size)
                                             : (i == 0 ? 0x1e0 : random.between(0, cell - size));
    if (random.coin()) {
      builder.copy("n" + std::to_string(i), cell, from, size);
    } else {
      builder.checksum("n" + std::to_string(i), kCrc32, {range_at(from, size)}, {slot_at(cell, 4)});
    }
  }
  return builder.parse();
}

// What each derived byte depends on: volatile bytes, and bytes that a revision may change.
struct Dependence {
  bool on_volatile = false;
  bool on_revision = false;
};

TEST(FloatingProperty, FollowsEveryByte) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    const RegionMap map = random_map(random);
    const Image image = filled_image(map);
    const Plan plan = make_plan(map, image).value();
    std::vector<int> owner(kSize, -1);
    std::vector<std::string> names;
    std::vector<Place> reads;
    const auto own = [&](const std::string& name, const Place& of, const Place& to) {
      for (std::uint64_t a = to.range.begin; a < to.range.end; ++a) owner[a] = static_cast<int>(names.size());
      names.push_back(name);
      reads.push_back(of);
    };
    for (const Checksum& c : map.checksums)
      own(c.name, std::get<CoverageRange>(c.coverage[0]).place, c.slots[0].place);
    for (const Copy& c : map.copies) own(c.name, c.of, c.to);
    const auto policy = [&](std::uint64_t a) {
      for (const Region& region : map.regions) {
        if (region.place.range.contains(a)) return region.policy;
      }
      return Policy::kLocked;
    };
    std::vector<Dependence> depends(names.size());
    for (std::size_t pass = 0; pass < names.size(); ++pass) {
      for (std::size_t i = 0; i < names.size(); ++i) {
        for (std::uint64_t a = reads[i].range.begin; a < reads[i].range.end; ++a) {
          if (owner[a] >= 0) {
            const Dependence& inner = depends[static_cast<std::size_t>(owner[a])];
            depends[i].on_volatile |= inner.on_volatile;
            // A pinned slot is written by every payload, so whoever reads it depends on the revision.
            depends[i].on_revision |= inner.on_revision || !inner.on_volatile;
          } else {
            depends[i].on_volatile |= policy(a) == Policy::kVolatile;
            depends[i].on_revision |= policy(a) == Policy::kEditable || a == 0x1f0;
          }
        }
      }
      // `on_revision` through a slot needs the final word on `on_volatile`.
      if (pass + 2 == names.size()) {
        for (Dependence& d : depends) d.on_revision = false;
        for (std::size_t again = 0; again < names.size(); ++again) {
          for (std::size_t i = 0; i < names.size(); ++i) {
            for (std::uint64_t a = reads[i].range.begin; a < reads[i].range.end; ++a) {
              const bool owned = owner[a] >= 0;
              const Dependence inner = owned ? depends[static_cast<std::size_t>(owner[a])] : Dependence{};
              depends[i].on_revision |= owned ? inner.on_revision || !inner.on_volatile
                                              : policy(a) == Policy::kEditable || a == 0x1f0;
            }
          }
        }
        break;
      }
    }
    for (const PlanNode& node : plan.nodes) {
      const auto i =
          static_cast<std::size_t>(std::find(names.begin(), names.end(), node.name) - names.begin());
      ASSERT_EQ(node.floating, depends[i].on_volatile) << node.name;
    }
    const RangeSet areas = plan.areas(image)[0];
    const RangeSet write = plan.write_ranges(image)[0];
    for (std::uint64_t a = 0; a < kSize; ++a) {
      bool in_areas = a == 0x1f0;
      bool in_write = in_areas;
      if (owner[a] >= 0) {
        const Dependence& d = depends[static_cast<std::size_t>(owner[a])];
        in_areas = !d.on_volatile;
        in_write = in_areas || d.on_revision;
      } else if (policy(a) == Policy::kEditable) {
        in_areas = in_write = true;
      }
      ASSERT_EQ(areas.contains(a), in_areas) << address_text(a);
      ASSERT_EQ(write.contains(a), in_write) << address_text(a);
    }
  }
}

// Two revisions of one base differ inside the write ranges only, and those bytes turn one into the other.
TEST(FloatingProperty, WriteRangesTurnAnyRevisionIntoAnyOther) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    const RegionMap map = random_map(random);
    Image base = random_image(map, random);
    byte_at(base, 0x1f0) = 0xff;
    const Plan plan = make_plan(map, base).value();
    ASSERT_THAT(correct(plan, base), IsOk());
    std::vector<Image> revisions;
    for (int k = 0; k < 2; ++k) {
      Image revision = base;
      for (const Range& range : plan.bytes_of(0, SpanKind::kEditable).ranges()) {
        for (std::uint64_t a = range.begin; a < range.end; ++a)
          byte_at(revision, a) = static_cast<std::uint8_t>(random.between(0, 255));
      }
      if (random.coin()) byte_at(revision, 0x1f0) = 0x00;
      ASSERT_THAT(correct(plan, revision), IsOk());
      revisions.push_back(std::move(revision));
    }
    const RangeSet write = plan.write_ranges(base)[0];
    for (std::uint64_t a = 0; a < kSize; ++a) {
      if (!write.contains(a)) {
        ASSERT_EQ(byte_at(revisions[0], a), byte_at(revisions[1], a)) << address_text(a);
      }
    }
  }
}

}  // namespace
}  // namespace calseal
