// Random edits, classified byte by byte from the region map's words, against the proof.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <set>

#include "calseal/change/confine.h"
#include "calseal/map/correct.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSize = 0x300;

RegionMap random_map(Random& random) {
  MapBuilder builder;
  builder.memory("flash", 0, kSize).memory("eeprom", 0, 0x40);
  const char* const policies[] = {"locked", "editable", "editable", "volatile"};
  std::uint64_t at = 0x100;
  for (int i = 0; at < 0x2c0; ++i) {
    const std::uint64_t size = random.between(1, 0x30);
    builder.region("r" + std::to_string(i), policies[random.between(0, 3)], at, size);
    at += size + random.between(0, 8);
  }
  builder.region("learned", "volatile", 0x10, 0x10, "eeprom");
  builder.patch("p", 0x08, "ffff", "0001").patch("q", 0x20, "ff", "7f");
  builder.add("manufacturer_signed", R"({"name": "s", "places": [)" + range_at(0x30, 0x10) + ", " +
                                         range_at(0x20, 8, "", "eeprom") + "]}");
  builder.checksum("c", kCrc32, {range_at(0x100, random.between(1, 0x80))}, {slot_at(0x40, 4)});
  builder.checksum("d", kCrc32, {range_at(0x200, random.between(1, 0x80)), range_at(0x40, 4)},
                   {slot_at(0x60, 4)});
  builder.copy("e", 0x80, random.between(0x100, 0x200), 16);
  builder.field("vin", "vin", 0xc0, 17, "ascii", R"("binds": true)");
  return builder.parse();
}

std::string class_of(const RegionMap& map, std::size_t memory, std::uint64_t a) {
  const auto holds = [&](const Place& place) { return place.memory == memory && place.range.contains(a); };
  for (const Checksum& c : map.checksums) {
    if (holds(c.slots[0].place)) return "derived";
  }
  for (const Copy& c : map.copies) {
    if (holds(c.to)) return "derived";
  }
  for (const PermittedPatch& p : map.patches) {
    if (holds(p.place)) return "patch";
  }
  for (const SignedPart& part : map.signed_parts) {
    for (const Place& place : part.places) {
      if (holds(place)) return "change-signed";
    }
  }
  if (holds(map.identity[0].place)) return "change-volatile";
  for (const Region& region : map.regions) {
    if (!holds(region.place)) continue;
    if (region.policy == Policy::kEditable) return "free";
    if (region.policy == Policy::kVolatile) return "change-volatile";
  }
  return "change-locked";
}

// Addresses of a place as place_text() writes it.
std::pair<std::string, Range> parse_place(const std::string& text) {
  const std::size_t space = text.find(' ');
  const std::uint64_t begin = parse_address(text.substr(space + 1, 10)).value();
  std::uint64_t last = begin;
  if (text.size() > space + 11 && text[space + 11] == '-')
    last = parse_address(text.substr(space + 12, 10)).value();
  return {text.substr(0, space), {begin, last + 1}};
}

TEST(ConfinementProperty, AgreesWithJudgingEveryByte) {
  Random random;
  int held = 0;
  int broken = 0;
  for (int round = 0; round < 300; ++round) {
    const RegionMap map = random_map(random);
    Image before = random_image(map, random);
    for (const PermittedPatch& patch : map.patches)
      put_bytes(before, patch.place.range.begin, random.coin() ? patch.before : patch.after);
    const Plan plan = make_plan(map, before).value();
    ASSERT_THAT(correct(plan, before), IsOk());
    Image after = before;
    const bool tame = random.coin();  // edits of editable bytes only
    for (std::uint64_t k = random.between(0, 12); k > 0; --k) {
      const std::size_t m = random.between(0, 3) == 0 ? 1 : 0;
      const std::uint64_t begin = random.between(0, map.memories[m].extent.end - 1);
      const std::uint64_t end = std::min(begin + random.between(1, 6), map.memories[m].extent.end);
      for (std::uint64_t a = begin; a < end; ++a) {
        if (tame && class_of(map, m, a) != "free") continue;
        byte_at(after, a, m) = static_cast<std::uint8_t>(random.between(0, 255));
      }
    }
    if (random.coin()) put_bytes(after, 0x08, random.coin() ? map.patches[0].before : map.patches[0].after);
    if (random.between(0, 3) != 0) {
      ASSERT_THAT(correct(plan, after), IsOk());
    }
    // The oracle.
    std::map<std::string, std::vector<std::set<std::uint64_t>>> wanted;
    std::uint64_t changed = 0;
    for (std::size_t m = 0; m < 2; ++m) {
      for (std::uint64_t a = 0; a < map.memories[m].extent.end; ++a) {
        if (byte_at(before, a, m) == byte_at(after, a, m)) continue;
        ++changed;
        const std::string what = class_of(map, m, a);
        if (!what.starts_with("change-")) continue;
        wanted[what].resize(2);
        wanted[what][m].insert(a);
      }
    }
    std::set<std::string> wrong_patches, wrong_checks;
    for (const PermittedPatch& patch : map.patches) {
      const ByteView bytes = after.memories[0].view(patch.place.range);
      if (!std::ranges::equal(bytes, patch.before) && !std::ranges::equal(bytes, patch.after))
        wrong_patches.insert(patch.name);
    }
    for (const Checksum& c : map.checksums) {
      if (!reference::checksum_holds(c, after)) wrong_checks.insert(c.name);
    }
    for (const Copy& c : map.copies) {
      if (!reference::copy_holds(c, after)) wrong_checks.insert(c.name);
    }
    // The proof.
    const Confinement proof = prove_confinement(plan, before, after);
    EXPECT_EQ(proof.changed_bytes(), changed);
    std::map<std::string, std::vector<std::set<std::uint64_t>>> found;
    std::set<std::string> found_patches, found_checks;
    int rank = 0;
    for (const Error& error : proof.violations) {
      const std::string reason(code(error.reason));
      const std::vector<std::string> order = {"change-signed", "change-patch", "change-locked",
                                              "change-volatile"};
      const int now = static_cast<int>(std::find(order.begin(), order.end(), reason) - order.begin());
      EXPECT_GE(now, rank);
      rank = now;
      if (reason == "change-patch") {
        found_patches.insert(error.place.substr(0, error.place.find(',')));
      } else if (now == 4) {
        found_checks.insert(error.place.substr(0, error.place.find(',')));
      } else {
        const auto [memory, range] = parse_place(error.place);
        found[reason].resize(2);
        for (std::uint64_t a = range.begin; a < range.end; ++a) {
          EXPECT_TRUE(found[reason][memory == "flash" ? 0 : 1].insert(a).second) << error.place;
        }
      }
    }
    EXPECT_EQ(found, wanted);
    EXPECT_EQ(found_patches, wrong_patches);
    EXPECT_EQ(found_checks, wrong_checks);
    // What a checker asks is the first of these; wrong derived places are left to the checks.
    const Confined confined = confine(plan, before, after, proof.checks);
    const auto first = std::ranges::find_if(proof.violations, [](const Error& error) {
      return error.reason != Reason::kDerivedWrong && error.reason != Reason::kCopyOneSided;
    });
    ASSERT_EQ(confined.violation.has_value(), first != proof.violations.end());
    if (confined.violation) {
      EXPECT_EQ(confined.violation->place, first->place);
      EXPECT_EQ(confined.violation->reason, first->reason);
    }
    EXPECT_EQ(confined.changed_bytes, proof.changed_bytes());
    EXPECT_EQ(confined.patches_applied, proof.patches_applied);
    const bool holds = wanted.empty() && wrong_patches.empty() && wrong_checks.empty();
    ASSERT_EQ(proof.holds(), holds);
    (holds ? held : broken) += 1;
  }
  EXPECT_GT(held, 20);
  EXPECT_GT(broken, 20);
}

// Changes, read back as bytes, are exactly the differing bytes; coalescing loses none of them.
TEST(ConfinementProperty, ChangesAreExact) {
  Random random;
  for (int round = 0; round < 100; ++round) {
    const RegionMap map = random_map(random);
    const Image before = random_image(map, random);
    Image after = before;
    for (std::uint64_t k = random.between(0, 200); k > 0; --k)
      byte_at(after, random.between(0, kSize - 1)) ^= 0x11;
    const Plan plan = make_plan(map, before).value();
    const std::vector<ChangedRange> changes = compare_images(plan, before, after);
    RangeSet found, wanted;
    std::uint64_t last = 0;
    for (const ChangedRange& change : changes) {
      EXPECT_GE(change.place.range.begin, last);
      last = change.place.range.end;
      found.add(change.place.range);
    }
    for (std::uint64_t a = 0; a < kSize; ++a) {
      if (byte_at(after, a) != reference::byte_of(before, 0, a)) wanted.add({a, a + 1});
    }
    ASSERT_EQ(found, wanted);
    RangeSet joined;
    for (const ChangedRange& change : coalesce(changes)) joined.add(change.place.range);
    for (const Range& range : wanted.ranges()) ASSERT_TRUE(joined.contains(range));
  }
}

}  // namespace
}  // namespace calseal
