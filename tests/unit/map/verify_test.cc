// What is said of each check: holds, fails and where, or not provable and why.
#include "calseal/map/verify.h"

#include <gtest/gtest.h>

#include "calseal/map/correct.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

struct Checked {
  RegionMap map;
  Image image;
  Plan plan;

  explicit Checked(const MapBuilder& builder)
      : map(builder.parse()), image(filled_image(map)), plan(make_plan(map, image).value()) {
    put_text(image, 0x10, "123456789");
    EXPECT_THAT(correct(plan, image), IsOk());
  }
  CheckOutcome outcome(std::size_t node = 0) const { return verify_check(plan, node, image); }
};

MapBuilder flash() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100);
  return builder;
}

TEST(Verify, SaysWhatIsStoredAndWhatWasComputed) {
  Checked c(flash().checksum(
      "c", kCrc32, {range_at(0x10, 9)},
      {slot_at(0x40, 4, R"("order": "big")"), slot_at(0x60, 4, R"("transform": "complement")")}));
  EXPECT_EQ(c.outcome().state, CheckState::kHolds);
  EXPECT_EQ(c.outcome().algorithm, "CRC-32/ISO-HDLC");
  EXPECT_EQ(c.outcome().stored, "cbf43926 d9c60b34");
  EXPECT_EQ(c.outcome().computed, c.outcome().stored);
  EXPECT_EQ(c.outcome().detail, "");
  EXPECT_FALSE(c.outcome().wrong);
  EXPECT_EQ(c.outcome().places, (std::vector<Place>{{0, {0x40, 0x44}}, {0, {0x60, 0x64}}}));
  byte_at(c.image, 0x41) ^= 1;
  EXPECT_EQ(c.outcome().state, CheckState::kFails);
  EXPECT_EQ(c.outcome().stored, "cbf53926 d9c60b34");
  EXPECT_EQ(c.outcome().detail, "at flash 0x00000040-0x00000043");
}

TEST(Verify, NamesTheFirstSlotThatIsWrong) {
  Checked c(flash().checksum("c", kCrc32, {range_at(0x10, 9)}, {slot_at(0x40, 4), slot_at(0x60, 4)}));
  byte_at(c.image, 0x61) ^= 1;
  EXPECT_EQ(c.outcome().wrong, (Place{0, {0x60, 0x64}}));
  EXPECT_THAT(require_holding(c.plan, verify_checks(c.plan, c.image)),
              FailsWith(Reason::kChecksumFails, "c, flash 0x00000060-0x00000063"));
}

TEST(Verify, SpareBitsOfASlotAreZero) {
  Checked c(flash().checksum("c", R"({"crc": "CRC-12/UMTS"})", {range_at(0x10, 9)}, {slot_at(0x40, 2)}));
  EXPECT_EQ(c.outcome().stored, "af0d");
  byte_at(c.image, 0x41) |= 0x10;
  EXPECT_EQ(c.outcome().state, CheckState::kFails);
}

TEST(Verify, DigitsMustBeOfTheDeclaredCase) {
  Checked c(
      flash().checksum("c", kCrc32, {range_at(0x10, 9)}, {slot_at(0x40, 8, R"("encoding": "hex-lower")")}));
  put_text(c.image, 0x40, "CBF43926");
  EXPECT_EQ(c.outcome().state, CheckState::kFails);
}

TEST(Verify, RulesWithoutBalanceAreJudgedOnly) {
  Checked c(flash().checksum("c", kCrc32, {range_at(0x10, 9)}, {}, R"("rule": {"equals": "0xcbf43926"})"));
  EXPECT_EQ(c.outcome().state, CheckState::kHolds);
  EXPECT_TRUE(c.outcome().is_rule);
  EXPECT_TRUE(c.outcome().places.empty());
  byte_at(c.image, 0x10) ^= 1;
  const CheckOutcome outcome = c.outcome();
  EXPECT_EQ(outcome.state, CheckState::kFails);
  EXPECT_EQ(outcome.stored, "0xcbf43926");
  EXPECT_NE(outcome.computed, outcome.stored);
  EXPECT_THAT(require_holding(c.plan, {outcome}), FailsWith(Reason::kChecksumFails, "c"));
}

TEST(Verify, TheResidueIsThatOfACodeword) {
  // CRC-32/ISO-HDLC: a message followed by its CRC, least byte first.
  Checked c(flash()
                .checksum("slot", kCrc32, {range_at(0x10, 9)}, {slot_at(0x19, 4)})
                .checksum("rule", kCrc32, {range_at(0x10, 13)}, {}, R"("rule": {"equals": "residue"})"));
  EXPECT_EQ(c.outcome(1).state, CheckState::kHolds);
  EXPECT_EQ(c.outcome(1).computed, "0x2144df1c");  // catalogue residue 0xdebb20e3, xorout applied
}

TEST(Verify, CopiesNameTheFirstByteThatDiffers) {
  Checked c(flash().copy("d", 0x80, 0x10, 9, R"("transform": "offset", "offset": 200)"));
  EXPECT_EQ(c.outcome().state, CheckState::kHolds);
  EXPECT_EQ(c.outcome().algorithm, "copy, offset by 200");
  byte_at(c.image, 0x83) ^= 1;
  byte_at(c.image, 0x18) ^= 1;
  EXPECT_EQ(c.outcome().state, CheckState::kFails);
  EXPECT_EQ(c.outcome().wrong, (Place{0, {0x83, 0x84}}));
  EXPECT_NE(c.outcome().detail.find("2 bytes differ"), std::string::npos);
  EXPECT_THAT(require_holding(c.plan, {c.outcome()}), FailsWith(Reason::kCopyOneSided, "0x00000013"));
}

TEST(Verify, UnknownBytesMakeACheckNotProvableAndNeverRight) {
  const MapBuilder builder =
      flash()
          .checksum("slot", kCrc32, {range_at(0x10, 9)}, {slot_at(0x40, 4)},
                    R"("substitute": [)" + range_at(0x12, 1, R"("as": "00")") + "]")
          .checksum("rule", kCrc32, {range_at(0x10, 9)}, {}, R"("rule": {"equals": 1})")
          .copy("copy", 0x80, 0x10, 4);
  const RegionMap map = builder.parse();
  const struct {
    std::uint64_t at;
    bool slot, rule, copy;  // still provable
  } rows[] = {{0x10, false, false, false}, {0x12, true, false, false}, {0x18, false, false, true},
              {0x19, true, true, true},    {0x43, false, true, true},  {0x83, true, true, false}};
  for (const auto& row : rows) {
    Image image = filled_image(map);
    const Plan plan = make_plan(map, image).value();
    forget(image, row.at, 1);
    const std::vector<CheckOutcome> outcomes = verify_checks(plan, image);
    const bool provable[] = {row.slot, row.rule, row.copy};
    for (std::size_t i = 0; i < 3; ++i) {
      EXPECT_EQ(outcomes[i].state != CheckState::kNotProvable, provable[i])
          << outcomes[i].name << " " << row.at;
      if (!provable[i]) {
        EXPECT_NE(outcomes[i].detail.find(address_text(row.at)), std::string::npos) << outcomes[i].detail;
        EXPECT_EQ(outcomes[i].computed, "");
      }
    }
  }
}

TEST(Verify, NotProvableIsLeftToTheCaller) {
  Checked c(flash().checksum("c", kCrc32, {range_at(0x10, 9)}, {slot_at(0x40, 4)}));
  byte_at(c.image, 0x40) ^= 1;
  forget(c.image, 0x10, 1);
  EXPECT_THAT(require_holding(c.plan, verify_checks(c.plan, c.image)), IsOk());
}

}  // namespace
}  // namespace calseal
