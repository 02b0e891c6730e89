// Every way to leave the declared areas, its exact address, and the order in which it is said.
#include "calseal/change/confine.h"

#include <gtest/gtest.h>

#include "calseal/map/correct.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

struct Sample {
  RegionMap map;
  Image before;
  Image after;
  Plan plan;

  static MapBuilder builder() {
    MapBuilder builder;
    builder.memory("flash", 0, 0x400)
        .memory("eeprom", 0, 0x80)
        .region("cal", "editable", 0x100, 0x80)
        .region("learned", "volatile", 0x00, 0x20, "eeprom")
        .patch("late", 0x0a8, "ffff", "0102")  // declared before one at a lower address
        .patch("early", 0x0a0, "ffffff", "010203")
        .add("manufacturer_signed", R"({"name": "boot", "places": [)" + range_at(0x20, 0x10) + "]}")
        .checksum("outer", kCrc32, {range_at(0x180, 4)}, {slot_at(0x200, 4)})
        .checksum("inner", kCrc32, {range_at(0x100, 0x40), range_at(0x0a0, 0x10)},
                  {slot_at(0x180, 4), slot_at(0x190, 4)})
        .checksum("floating", kCrc32, {range_at(0x00, 0x20, "", "eeprom"), range_at(0x100, 4)},
                  {slot_at(0x40, 4, "", "eeprom")})
        .copy("mirror", 0x240, 0x140, 0x10, R"("transform": "complement")")
        .field("vin", "vin", 0x300, 17, "ascii", R"("binds": true)");
    return builder;
  }
  explicit Sample(const MapBuilder& from = builder())
      : map(from.parse()), before(filled_image(map)), plan(make_plan(map, before).value()) {
    EXPECT_THAT(correct(plan, before), IsOk());
    after = before;
  }
  void flip(std::uint64_t at, std::size_t memory = 0) { byte_at(after, at, memory) ^= 0x5a; }
  void settle() { EXPECT_THAT(correct(plan, after), IsOk()); }
  Confinement proof() const { return prove_confinement(plan, before, after); }
  std::vector<std::string> said() const {
    std::vector<std::string> out;
    for (const Error& e : proof().violations) {
      EXPECT_FALSE(e.found.empty() || e.expected.empty() || e.next.empty()) << e.place;
      out.push_back(std::string(code(e.reason)) + " " + e.place);
    }
    return out;
  }
};

TEST(Confinement, HoldsForEditsThatWereCorrected) {
  Sample s;
  for (const std::uint64_t at : {0x100, 0x101, 0x145, 0x17f}) s.flip(at);
  s.settle();
  const Confinement proof = s.proof();
  EXPECT_TRUE(proof.holds());
  EXPECT_THAT(require_confined(proof), IsOk());
  EXPECT_EQ(proof.patches_applied, (std::vector<bool>{false, false}));
  std::uint64_t changed = 0;
  for (std::size_t m = 0; m < 2; ++m) {
    for (std::size_t i = 0; i < s.before.memories[m].bytes.size(); ++i) {
      changed += s.before.memories[m].bytes[i] != s.after.memories[m].bytes[i] ? 1U : 0U;
    }
  }
  EXPECT_EQ(proof.changed_bytes(), changed);
  EXPECT_EQ(proof.checks.size(), 4U);
}

TEST(Confinement, HoldsForEqualImages) {
  const Sample s;
  EXPECT_TRUE(s.proof().holds());
  EXPECT_EQ(s.proof().changed_bytes(), 0U);
}

TEST(Confinement, NamesEveryKindInItsOrder) {
  Sample s;
  s.flip(0x00, 1);  // volatile
  s.flip(0x305);    // binding
  s.flip(0x3ff);    // locked
  s.flip(0x60, 1);  // locked, other memory
  s.flip(0x01);     // locked
  s.flip(0x2f);     // signed
  s.flip(0x30);     // locked, next to it
  s.flip(0x0a1);    // half a patch
  s.flip(0x0a9);    // half another
  s.flip(0x100);    // editable, and slots are stale
  s.flip(0x248);    // copy
  EXPECT_EQ(s.said(),
            (std::vector<std::string>{
                "change-signed flash 0x0000002f (boot)",
                "change-patch early, flash 0x000000a0-0x000000a2",
                "change-patch late, flash 0x000000a8-0x000000a9",
                "change-locked flash 0x00000001",
                "change-locked flash 0x00000030",
                "change-locked flash 0x000003ff",
                "change-locked eeprom 0x00000060",
                "change-volatile flash 0x00000305 (vin)",
                "change-volatile eeprom 0x00000000 in region learned",
                "derived-wrong inner, flash 0x00000180-0x00000183",
                "copy-one-sided mirror, 1 byte differs, at flash 0x00000248 (original flash 0x00000148)",
                "derived-wrong floating, eeprom 0x00000040-0x00000043",
            }));
  EXPECT_THAT(require_confined(s.proof()), FailsWith(Reason::kChangeSigned, "and 11 more"));
}

TEST(Confinement, SaysWhatStandsThereAndWhatShould) {
  Sample s;
  s.flip(0x05);
  s.flip(0x06);
  const auto violations = s.proof().violations;
  ASSERT_EQ(violations.size(), 1U);
  EXPECT_EQ(violations[0].place, "flash 0x00000005-0x00000006");
  EXPECT_EQ(violations[0].found, "a5 a5");
  EXPECT_EQ(violations[0].expected, "ff ff as in the base");
  EXPECT_THAT(require_confined(s.proof()), FailsWith(Reason::kChangeLocked));
  EXPECT_EQ(require_confined(s.proof()).error().place, violations[0].place);
}

// --- patches

TEST(Patches, StandWholeOneWayOrTheOther) {
  Sample s;
  put_bytes(s.after, 0x0a0, Bytes{1, 2, 3});
  s.settle();
  EXPECT_TRUE(s.proof().holds());
  EXPECT_EQ(s.proof().patches_applied, (std::vector<bool>{false, true}));
  EXPECT_THAT(patch_states(s.map, s.after), IsOkAnd(testing::ElementsAre(false, true)));
  put_bytes(s.after, 0x0a0, Bytes{1, 2, 0xff});
  s.settle();
  EXPECT_EQ(s.said(), std::vector<std::string>{"change-patch early, flash 0x000000a0-0x000000a2"});
  EXPECT_THAT(patch_states(s.map, s.after), FailsWith(Reason::kChangePatch, "early"));
}

TEST(Patches, MayBeTakenBack) {
  Sample s;
  put_bytes(s.before, 0x0a8, Bytes{1, 2});
  ASSERT_THAT(correct(s.plan, s.before), IsOk());
  EXPECT_TRUE(s.proof().holds());
  EXPECT_EQ(s.proof().patches_applied, (std::vector<bool>{false, false}));
}

TEST(Patches, UnknownOnesCountAsNotApplied) {
  Sample s;
  put_bytes(s.after, 0x0a8, Bytes{1, 2});
  forget(s.after, 0x0a8, 2);
  EXPECT_THAT(patch_states(s.map, s.after), IsOkAnd(testing::ElementsAre(false, false)));
  EXPECT_EQ(s.proof().patches_applied, (std::vector<bool>{false, false}));
}

TEST(Patches, PartlyKnownOnesAreJudgedByWhatIsKnown) {
  Sample s;
  put_bytes(s.after, 0x0a8, Bytes{1, 2});
  forget(s.after, 0x0a9, 1);
  EXPECT_THAT(patch_states(s.map, s.after), IsOkAnd(testing::ElementsAre(true, false)));
  byte_at(s.after, 0x0a8) = 7;
  EXPECT_THAT(patch_states(s.map, s.after), FailsWith(Reason::kChangePatch, "late"));
}

TEST(Patches, WithAStaleChecksumAreNotEnough) {
  Sample s;
  put_bytes(s.after, 0x0a8, Bytes{1, 2});
  EXPECT_EQ(s.said(), std::vector<std::string>{"derived-wrong inner, flash 0x00000180-0x00000183"});
}

// --- derived places

TEST(Derived, ASecondSlotIsNamedWhenItAloneIsWrong) {
  Sample s;
  s.flip(0x191);
  EXPECT_EQ(s.said(), std::vector<std::string>{"derived-wrong inner, flash 0x00000190-0x00000193"});
}

TEST(Derived, AreNamedByAddressAndNotByDeclaration) {
  Sample s;
  s.flip(0x200);
  s.flip(0x180);
  EXPECT_EQ(s.said(), (std::vector<std::string>{"derived-wrong inner, flash 0x00000180-0x00000183",
                                                "derived-wrong outer, flash 0x00000200-0x00000203"}));
}

TEST(Derived, RulesWithoutAPlaceComeLast) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100)
      .region("cal", "editable", 0x10, 9)
      .checksum("rule", kCrc32, {range_at(0x10, 9)}, {}, R"("rule": {"equals": "0x4b1e0aba"})")
      .checksum("slot", kCrc32, {range_at(0x10, 9)}, {slot_at(0x40, 4)});
  const RegionMap map = builder.parse();
  const Image before = filled_image(map);
  const Plan plan = make_plan(map, before).value();
  const Confinement proof = prove_confinement(plan, before, before);
  ASSERT_EQ(proof.violations.size(), 2U);
  EXPECT_EQ(proof.violations[0].place, "slot, flash 0x00000040-0x00000043");
  EXPECT_EQ(proof.violations[1].place, "rule");
  EXPECT_EQ(proof.violations[1].reason, Reason::kDerivedWrong);
}

TEST(Derived, AnEditOfTheCopyAloneIsToldThatCorrectionWouldLoseIt) {
  Sample s;
  s.flip(0x243);
  const auto violations = s.proof().violations;
  ASSERT_EQ(violations.size(), 1U);
  EXPECT_EQ(violations[0].reason, Reason::kCopyOneSided);
  EXPECT_EQ(violations[0].next,
            "edit the original instead, at flash 0x00000143: correct would overwrite this edit of the copy");
}

TEST(Derived, AnEditOfTheOriginalAloneIsLeftToCorrection) {
  Sample s;
  s.flip(0x143);
  const auto violations = s.proof().violations;
  ASSERT_EQ(violations.size(), 1U);
  EXPECT_EQ(violations[0].reason, Reason::kCopyOneSided);
  EXPECT_EQ(violations[0].next, "run correct, which brings the copy along");
  s.settle();
  EXPECT_TRUE(s.proof().holds());
}

TEST(Derived, EditsOfBothAreJudgedByteByByte) {
  Sample s;
  s.flip(0x143);
  s.flip(0x243);  // both, and they agree
  s.flip(0x244);  // the copy alone
  s.flip(0x145);  // the original alone
  EXPECT_NE(s.proof().violations.front().next.find("flash 0x00000144"), std::string::npos);
}

TEST(Derived, EditsOfBothThatDisagreeAreLeftToCorrection) {
  Sample s;
  s.flip(0x143);
  byte_at(s.after, 0x243) ^= 0x01;
  const auto violations = s.proof().violations;
  ASSERT_EQ(violations.size(), 1U);
  EXPECT_EQ(violations[0].next, "run correct, which brings the copy along");
}

TEST(Derived, AChangedSlotThatNothingProvesIsAViolation) {
  Sample s;
  forget(s.before, 0x108, 1);
  s.after = s.before;
  EXPECT_TRUE(s.proof().holds());  // stale or not, nobody touched it
  s.flip(0x110);
  EXPECT_TRUE(s.proof().holds());
  s.flip(0x190);
  EXPECT_EQ(s.said(), std::vector<std::string>{"checksum-not-provable inner, flash 0x00000190-0x00000193"});
}

TEST(Confinement, UnrelatedImagesAreListedUpToTheLimitAndRefused) {
  const RegionMap map = MapBuilder().memory("flash", 0, 0x10000).region("cal", "editable", 0, 0x10).parse();
  const Image before = filled_image(map);
  const Plan plan = make_plan(map, before).value();
  Image after = before;
  for (std::uint64_t at = 0x10; at < 0x10000; at += 2) byte_at(after, at) ^= 0x5a;
  const Confinement proof = prove_confinement(plan, before, after);
  EXPECT_EQ(proof.violations.size(), kViolationLimit);
  EXPECT_EQ(proof.changed_bytes(), (0x10000U - 0x10U) / 2);
  EXPECT_THAT(require_confined(proof), FailsWith(Reason::kChangeLocked, "0x00000010"));
}

TEST(Confinement, BytesThatTheBaseKnowsMustBeKnown) {
  Sample s;
  forget(s.after, 0x150, 1);
  forget(s.after, 0x50, 2, 1);
  s.flip(0x20);
  EXPECT_EQ(s.said(), (std::vector<std::string>{"read-incomplete flash 0x00000150",
                                                "read-incomplete eeprom 0x00000050-0x00000051",
                                                "change-signed flash 0x00000020 (boot)"}));
}

TEST(Confinement, BytesThatOnlyTheRevisionKnowsAreNoChange) {
  Sample s;
  forget(s.before, 0x01, 4);
  s.flip(0x02);
  EXPECT_TRUE(s.proof().holds());
}

// --- belief and share

TEST(Belief, NeedsEveryProvableCheckToHold) {
  Sample s;
  EXPECT_THAT(believe_map(s.plan, s.before), IsOk());
  for (const std::uint64_t at : {0x200, 0x180, 0x240}) {
    Image image = s.before;
    byte_at(image, at) ^= 1;
    EXPECT_THAT(believe_map(s.plan, image), FailsWith(Reason::kMapNotBelieved)) << at;
  }
  Image unknown = s.before;
  byte_at(unknown, 0x240) ^= 1;
  forget(unknown, 0x140, 1);
  EXPECT_THAT(believe_map(s.plan, unknown), IsOk());
  Image half = s.before;
  byte_at(half, 0x0a0) = 1;
  ASSERT_THAT(correct(s.plan, half), IsOk());
  EXPECT_THAT(believe_map(s.plan, half), FailsWith(Reason::kChangePatch, "early"));
}

TEST(Belief, BeginsWithTheFamily) {
  Sample s(
      Sample::builder().recognise(R"({"all": [{"memory": "flash", "at": "0x00000000", "bytes": "45"}]})"));
  EXPECT_THAT(believe_map(s.plan, s.before), FailsWith(Reason::kFamilyMismatch));
}

TEST(EditableShare, IsOfKnownBytesInHundredthsOfAPercent) {
  Sample s;
  // 0x80 editable bytes; what of slots and fields lies outside them does not count.
  EXPECT_EQ(editable_share(s.plan, s.before), 0x80U * 10000 / 0x480);
  forget(s.before, 0x160, 0x20);
  forget(s.before, 0x00, 0x80, 1);
  EXPECT_EQ(editable_share(s.plan, s.before), 0x60U * 10000 / 0x3e0);
  EXPECT_EQ(editable_share(s.plan, blank_image(s.map)), 0U);
}

}  // namespace
}  // namespace calseal
