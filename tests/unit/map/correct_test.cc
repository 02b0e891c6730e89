// Correction: what it sets, in what order, what it leaves alone, and what it refuses.
#include "calseal/map/correct.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "calseal/map/value.h"
#include "calseal/map/verify.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

MapBuilder flash(std::uint64_t size = 0x200) {
  MapBuilder builder;
  builder.memory("flash", 0, size);
  return builder;
}

std::string rule(std::string_view equals, std::uint64_t at, std::uint64_t size, std::string_view more = "") {
  return R"("rule": {"equals": )" + std::string(equals) + R"(, "balance": )" + slot_at(at, size) + "}" +
         (more.empty() ? "" : ", ") + std::string(more);
}

std::vector<std::string> names_of(const CorrectionReport& report) {
  std::vector<std::string> names;
  for (const Correction& correction : report.corrections) names.push_back(correction.name);
  return names;
}

// Corrects random images of a map; every check must hold, only derived bytes change, and a second run changes
// nothing.
void expect_corrects(const RegionMap& map, int rounds = 8) {
  Random random;
  for (int round = 0; round < rounds; ++round) {
    Image image = random_image(map, random);
    const Image before = image;
    const auto plan = make_plan(map, image);
    ASSERT_THAT(plan, IsOk());
    ASSERT_THAT(correct(*plan, image), IsOk());
    EXPECT_EQ(reference::first_wrong(map, image), "");
    for (std::size_t m = 0; m < map.memories.size(); ++m) {
      RangeSet derived = plan->bytes_of(m, SpanKind::kDerived);
      derived.add(plan->bytes_of(m, SpanKind::kFloating));
      for (std::uint64_t a = map.memories[m].extent.begin; a < map.memories[m].extent.end; ++a) {
        if (!derived.contains(a)) {
          ASSERT_EQ(byte_at(image, a, m), reference::byte_of(before, m, a)) << address_text(a);
        }
      }
    }
    const Image once = image;
    const auto again = correct(*plan, image);
    ASSERT_THAT(again, IsOk());
    EXPECT_TRUE(again->corrections.empty());
    EXPECT_TRUE(same_bytes(image, once));
  }
}

// --- order

TEST(Correct, InnerBeforeOuterWhateverTheDeclaration) {
  const RegionMap map = flash()
                            .checksum("outer", kCrc32, {range_at(0x80, 0x40)}, {slot_at(0x180, 4)})
                            .copy("mirror", 0x90, 0x60, 2)
                            .checksum("inner", kCrc16, {range_at(0x00, 0x20)}, {slot_at(0x60, 2)})
                            .parse();
  expect_corrects(map);
  Image image = filled_image(map);
  const auto report = correct(make_plan(map, image).value(), image);
  ASSERT_THAT(report, IsOk());
  EXPECT_EQ(names_of(*report), (std::vector<std::string>{"inner", "mirror", "outer"}));
}

TEST(Correct, ReportsPlacesWithTheirBytesBeforeAndAfter) {
  const RegionMap map = flash()
                            .checksum("c", kCrc32, {range_at(0x10, 9)},
                                      {slot_at(0x40, 4, R"("order": "big")"), slot_at(0x60, 4)})
                            .parse();
  Image image = filled_image(map);
  put_text(image, 0x10, "123456789");
  put_bytes(image, 0x60, Bytes{0x26, 0x39, 0xf4, 0xcb});  // right already
  const auto report = correct(make_plan(map, image).value(), image);
  ASSERT_THAT(report, IsOk());
  ASSERT_EQ(report->corrections.size(), 1U);
  EXPECT_EQ(report->corrections[0].name, "c");
  EXPECT_EQ(report->corrections[0].place, (Place{0, {0x40, 0x44}}));
  EXPECT_EQ(to_hex(report->corrections[0].before), "ffffffff");
  EXPECT_EQ(to_hex(report->corrections[0].after), "cbf43926");
}

TEST(Correct, CopiesInEveryTransform) {
  expect_corrects(flash()
                      .copy("plain", 0x80, 0x00, 0x10)
                      .copy("complement", 0x90, 0x80, 0x10, R"("transform": "complement")")
                      .copy("offset", 0xa0, 0x90, 0x10, R"("transform": "offset", "offset": 255)")
                      .parse());
}

TEST(Correct, AcrossMemories) {
  expect_corrects(flash()
                      .memory("eeprom", 0, 0x40)
                      .checksum("c", kCrc32, {range_at(0x10, 0x10, "", "eeprom"), range_at(0, 0x20)},
                                {slot_at(0x20, 4, "", "eeprom")})
                      .copy("d", 0x00, 0x100, 8, "", "eeprom")
                      .checksum("e", kCrc16, {range_at(0x00, 0x24, "", "eeprom")}, {slot_at(0x1f0, 2)})
                      .parse());
}

// --- drafted checksums

MapBuilder drafted(std::string_view standing) {
  return flash()
      .region("open", "editable", 0, 0x20)
      .checksum("guess", R"({"sum": {"unit": 8, "accumulator": 16}})", {range_at(0, 0x20)},
                {slot_at(0x40, 2)}, standing);
}

Image ones_of_eleven(const RegionMap& map) {
  Image image = filled_image(map);
  std::ranges::fill(image.memories[0].bytes, std::uint8_t{0x11});
  return image;
}

TEST(Correct, AnUnconfirmedChecksumIsVerifiedAndNeverWritten) {
  const RegionMap map = drafted(R"("drafted": "from 1 image")").parse();
  EXPECT_EQ(policy_at(map, 0, 0x40), Policy::kLocked);
  Image image = ones_of_eleven(map);
  const auto plan = make_plan(map, image);
  ASSERT_THAT(plan, IsOk());
  EXPECT_TRUE(plan->nodes.front().writes.empty());
  EXPECT_TRUE(plan->bytes_of(0, SpanKind::kLocked).contains(0x40));
  const Image before = image;
  ASSERT_THAT(correct(*plan, image), FailsWith(Reason::kChecksumFails));
  EXPECT_TRUE(same_bytes(image, before));
  // 0x20 bytes of 0x11 sum to 0x220: where the right value stands, it holds, and there is nothing to write.
  image.memories[0].bytes[0x40] = 0x20;
  image.memories[0].bytes[0x41] = 0x02;
  EXPECT_EQ(verify_checks(*plan, image).front().state, CheckState::kHolds);
  EXPECT_THAT(correct(*plan, image), IsOk());
  // Its slot is looked at: a byte that is unknown there leaves it unproved.
  image.memories[0].known.remove({0x41, 0x42});
  EXPECT_EQ(verify_checks(*plan, image).front().state, CheckState::kNotProvable);
}

TEST(Correct, AConfirmedChecksumIsWritten) {
  const RegionMap map =
      drafted(R"("drafted": "from 1 image", "confirmed": "2026-12-01 A. Tuner: two writes")").parse();
  EXPECT_EQ(policy_at(map, 0, 0x40), Policy::kDerived);
  Image image = ones_of_eleven(map);
  const auto plan = make_plan(map, image);
  ASSERT_THAT(plan, IsOk());
  ASSERT_THAT(correct(*plan, image), IsOk());
  EXPECT_EQ(image.memories[0].bytes[0x40], 0x20);
  EXPECT_EQ(image.memories[0].bytes[0x41], 0x02);
}

// --- balances

struct BalanceRow {
  std::string name;
  std::string algorithm;
  std::string more;
};

class Balances : public testing::TestWithParam<BalanceRow> {};

TEST_P(Balances, MakeTheRuleHold) {
  expect_corrects(flash()
                      .checksum("r", GetParam().algorithm, {range_at(0x10, 0x30), range_at(0x80, 0x10)}, {},
                                GetParam().more)
                      .parse());
}

INSTANTIATE_TEST_SUITE_P(
    Kinds, Balances,
    testing::Values(
        BalanceRow{"Add8", R"({"sum": {"unit": 8}})", rule("0", 0x21, 1)},
        BalanceRow{"Add16", R"({"sum": {"unit": 16}})", rule("4660", 0x20, 2)},
        BalanceRow{"Add16Big", R"({"sum": {"unit": 16, "order": "big"}})", rule("4660", 0x20, 2)},
        BalanceRow{"Add32InTheLastRange", R"({"sum": {"unit": 32, "order": "big"}})", rule("1", 0x84, 4)},
        BalanceRow{"Add64", R"({"sum": {"unit": 64, "init": 5}})", rule(R"("0xfedcba9876543210")", 0x20, 8)},
        BalanceRow{"AddComplemented", R"({"sum": {"unit": 16}})",
                   rule("7", 0x20, 2, R"("complement": "ones", "add": 9)")},
        BalanceRow{"AddNegatedLowBits", R"({"sum": {"unit": 16, "accumulator": 32}})",
                   rule("300", 0x20, 2, R"("complement": "twos", "bits": 11)")},
        BalanceRow{"AddWideAccumulator", R"({"sum": {"unit": 8, "accumulator": 32}})",
                   rule("200", 0x20, 1, R"("bits": 8)")},
        BalanceRow{"EndAround16", R"({"sum": {"unit": 16, "operation": "add-end-around"}})",
                   rule("65535", 0x20, 2)},
        BalanceRow{"EndAround16Other",
                   R"({"sum": {"unit": 16, "order": "big", "operation": "add-end-around", "init": 7}})",
                   rule("1", 0x20, 2)},
        BalanceRow{"EndAroundComplement", R"({"sum": {"unit": 32, "operation": "add-end-around"}})",
                   rule("0", 0x20, 4, R"("complement": "ones")")},
        BalanceRow{"Xor8", R"({"sum": {"unit": 8, "operation": "xor"}})", rule("90", 0x21, 1)},
        BalanceRow{"Xor32Big", R"({"sum": {"unit": 32, "order": "big", "operation": "xor"}})",
                   rule("90", 0x24, 4)},
        BalanceRow{"XorAdded", R"({"sum": {"unit": 16, "operation": "xor"}})",
                   rule("1", 0x24, 2, R"("complement": "twos", "add": 77)")},
        BalanceRow{"Swapped16", R"({"sum": {"unit": 16}})", rule("4660", 0x20, 2, R"("swap": 16)")},
        BalanceRow{"Swapped32", R"({"sum": {"unit": 32, "order": "big"}})",
                   rule("4660", 0x20, 4, R"("swap": 32)")},
        BalanceRow{"SwappedHalfOfAGroup", R"({"sum": {"unit": 16}})", rule("4660", 0x22, 2, R"("swap": 32)")},
        BalanceRow{"SwappedEndAround", R"({"sum": {"unit": 16, "operation": "add-end-around"}})",
                   rule("4660", 0x20, 2, R"("swap": 16)")},
        BalanceRow{"SwappedXor", R"({"sum": {"unit": 32, "operation": "xor"}})",
                   rule("4660", 0x20, 4, R"("swap": 32)")},
        BalanceRow{"CrcResidue", std::string(kCrc32), rule(R"("residue")", 0x20, 4)},
        BalanceRow{"CrcResidueAtTheEnd", std::string(kCrc32), rule(R"("residue")", 0x8c, 4)},
        BalanceRow{"CrcKeepsAValue", std::string(kCrc32), rule(R"("0xdeadbeef")", 0x23, 4)},
        BalanceRow{"CrcWideBalance", std::string(kCrc16), rule("0", 0x23, 8)},
        BalanceRow{"CrcSwapped", std::string(kCrc32), rule("1", 0x20, 4, R"("swap": 32)")},
        BalanceRow{"CrcLowBits", std::string(kCrc32), rule("300", 0x8c, 2, R"("bits": 9)")},
        BalanceRow{"CrcComplementAdd", std::string(kCrc32),
                   rule("300", 0x20, 4, R"("complement": "twos", "add": 12345)")},
        BalanceRow{"Crc64", R"({"crc": "CRC-64/XZ"})", rule(R"("residue")", 0x20, 8)}),
    [](const auto& row) { return row.param.name; });

TEST(Balances, ReadInPiecesInAnotherOrder) {
  // The word's high byte comes first in the message although the word is little-endian.
  expect_corrects(flash()
                      .checksum("r", R"({"sum": {"unit": 16}})",
                                {range_at(0x10, 8), range_at(0x21, 1), range_at(0x20, 1), range_at(0x40, 8)},
                                {}, rule("4660", 0x20, 2))
                      .parse());
}

TEST(Balances, OnesComplementZeroIsWrittenAsZeroUnlessOnlyAllOnesWorks) {
  const RegionMap map = flash()
                            .checksum("r", R"({"sum": {"unit": 16, "operation": "add-end-around"}})",
                                      {range_at(0, 8)}, {}, rule("65535", 2, 2))
                            .parse();
  Image image = filled_image(map);
  const Plan plan = make_plan(map, image).value();
  put_bytes(image, 0, Bytes{0xf0, 0xff, 0x12, 0x34, 0x0f, 0x00, 0x00, 0x00});  // the rest sums to ffff
  ASSERT_THAT(correct(plan, image), IsOk());
  EXPECT_EQ(hex_at(image, 2, 2), "0000");
  put_bytes(image, 0, Bytes{0, 0, 0x12, 0x34, 0, 0, 0, 0});  // from zeros alone nothing but ffff gives ffff
  ASSERT_THAT(correct(plan, image), IsOk());
  EXPECT_EQ(hex_at(image, 2, 2), "ffff");
  put_bytes(image, 0,
            Bytes{0xf0, 0xff, 0xff, 0xff, 0x0f, 0x00, 0x00, 0x00});  // the other zero holds too, so it stays
  ASSERT_THAT(correct(plan, image), IsOk());
  EXPECT_EQ(hex_at(image, 2, 2), "ffff");
}

// A balance behind a table: where it stands in the message only the image tells.
struct BehindTable {
  RegionMap map;
  Image image;
  BehindTable(std::string_view algorithm, const std::string& more, std::uint8_t first, std::uint8_t last)
      : map(flash()
                .checksum(
                    "r", algorithm,
                    {R"({"table": {"memory": "flash", "at": "0x00000100", "records": 1, "record_size": 8, "order": "big",
                              "start_at": 0, "end_at": 4, "end": "last", "points_into": "flash"}})",
                     range_at(0x20, 0x20)},
                    {}, more)
                .parse()),
        image(filled_image(map)) {
    put_bytes(image, 0x100, Bytes{0, 0, 0, first, 0, 0, 0, last});
  }
  Result<CorrectionReport> run() { return correct(make_plan(map, image).value(), image); }
};

TEST(Balances, BehindATableAreSetWhereTheImagePutsThem) {
  BehindTable even(R"({"sum": {"unit": 16}})", rule("1", 0x30, 2), 0x80, 0x85);
  EXPECT_THAT(even.run(), IsOk());
  EXPECT_EQ(reference::first_wrong(even.map, even.image), "");
  BehindTable crc(kCrc32, rule(R"("residue")", 0x30, 4), 0x80, 0x84);
  EXPECT_THAT(crc.run(), IsOk());
  EXPECT_EQ(reference::first_wrong(crc.map, crc.image), "");
}

TEST(Balances, ThatTheImageMakesUnreachableAreRefusedAndLeftAlone) {
  // An odd number of bytes before it cuts the word; a table that names the balance reads it twice.
  for (const auto& [first, last] : {std::pair<std::uint8_t, std::uint8_t>{0x80, 0x84}, {0x2f, 0x32}}) {
    BehindTable odd(R"({"sum": {"unit": 16}})", rule("1", 0x30, 2), first, last);
    const Image before = odd.image;
    EXPECT_THAT(odd.run(), FailsWith(Reason::kMapUnsolvable, "r, flash 0x00000030-0x00000031"));
    EXPECT_TRUE(same_bytes(odd.image, before));
  }
  // Read twice side by side a byte changes an exclusive or by nothing.
  BehindTable twice(R"({"sum": {"unit": 8, "operation": "xor"}})", rule("1", 0x30, 1), 0x30, 0x30);
  byte_at(twice.image, 0x21) = 0x55;
  const Image before = twice.image;
  EXPECT_THAT(twice.run(), FailsWith(Reason::kMapUnsolvable));
  EXPECT_TRUE(same_bytes(twice.image, before));
}

TEST(Rules, WithoutBalanceAreNeverCorrected) {
  const RegionMap map =
      flash().checksum("r", kCrc32, {range_at(0x10, 9)}, {}, R"("rule": {"equals": "0xcbf43926"})").parse();
  Image image = filled_image(map);
  const Plan plan = make_plan(map, image).value();
  const Image before = image;
  EXPECT_THAT(correct(plan, image), FailsWith(Reason::kChecksumFails, "r"));
  EXPECT_TRUE(same_bytes(image, before));
  put_text(image, 0x10, "123456789");
  EXPECT_THAT(correct(plan, image), IsOk());
}

// --- circles

TEST(Correct, CirclesOfCrcs) {
  expect_corrects(flash(0x400)
                      .checksum("a", kCrc32, {range_at(0, 0x40)}, {slot_at(0x100, 4)})
                      .checksum("b", kCrc32, {range_at(0xf0, 0x40)}, {slot_at(0x20, 4)})
                      .checksum("after", kCrc16, {range_at(0x20, 4)}, {slot_at(0x200, 2)})
                      .parse());
}

TEST(Correct, ACircleWithUnknownBytesIsLeftAlone) {
  const RegionMap map = flash(0x400)
                            .checksum("a", kCrc32, {range_at(0, 0x40)}, {slot_at(0x100, 4)})
                            .checksum("b", kCrc32, {range_at(0xf0, 0x40)}, {slot_at(0x20, 4)})
                            .parse();
  Image image = filled_image(map);
  forget(image, 0x01, 1);
  const Image before = image;
  const auto report = correct(make_plan(map, image).value(), image);
  ASSERT_THAT(report, IsOk());
  EXPECT_EQ(report->not_provable, std::vector<std::string>{"a"});
  EXPECT_TRUE(report->corrections.empty());
  EXPECT_TRUE(same_bytes(image, before));
}

// --- what is left alone

TEST(Correct, DoesNothingWhereAllHolds) {
  const RegionMap map = flash()
                            .checksum("wide", kCrc16, {range_at(0, 0x20)}, {}, rule("9", 0x08, 4))
                            .checksum("c", kCrc32, {range_at(0, 0x20)}, {slot_at(0x40, 4)})
                            .parse();
  expect_corrects(map);
}

TEST(Correct, ReportsWhatIsNotProvableAndCorrectsTheRest) {
  const RegionMap map = flash()
                            .checksum("blind", kCrc32, {range_at(0, 0x20)}, {slot_at(0x40, 4)})
                            .checksum("sees", kCrc32, {range_at(0x40, 8)}, {slot_at(0x60, 4)})
                            .copy("no_slot", 0x80, 0x20, 4)
                            .parse();
  Random random;
  Image image = random_image(map, random);
  forget(image, 0x1f, 1);
  forget(image, 0x82, 1);
  const std::string slot = hex_at(image, 0x40, 4);
  const auto report = correct(make_plan(map, image).value(), image);
  ASSERT_THAT(report, IsOk());
  EXPECT_EQ(report->not_provable, (std::vector<std::string>{"blind", "no_slot"}));
  EXPECT_EQ(names_of(*report), std::vector<std::string>{"sees"});
  EXPECT_EQ(hex_at(image, 0x40, 4), slot);
}

TEST(Correct, OnTheCustomersSideOnlyFloatingPlaces) {
  const RegionMap map =
      flash()
          .region("learned", "volatile", 0x100, 0x10)
          .checksum("pinned", kCrc32, {range_at(0, 0x20)}, {slot_at(0x40, 4)})
          .checksum("floating", kCrc32, {range_at(0x40, 4), range_at(0x100, 4)}, {slot_at(0x60, 4)})
          .copy("of_pinned", 0x80, 0x40, 4)
          .copy("of_floating", 0x90, 0x60, 4)
          .checksum("verified", kCrc32, {range_at(0, 0x20)}, {}, R"("rule": {"equals": 1})")
          .parse();
  Random random;
  Image image = random_image(map, random);
  const Image before = image;
  const Plan plan = make_plan(map, image).value();
  const auto report = correct(plan, image, CorrectionScope::kFloating);
  ASSERT_THAT(report, IsOk());
  EXPECT_EQ(names_of(*report), (std::vector<std::string>{"floating", "of_floating"}));
  EXPECT_EQ(hex_at(image, 0x40, 4), hex_at(before, 0x40, 4));
  EXPECT_EQ(hex_at(image, 0x80, 4), hex_at(before, 0x80, 4));
  EXPECT_TRUE(reference::checksum_holds(map.checksums[1], image));
  EXPECT_TRUE(reference::copy_holds(map.copies[1], image));
}

TEST(Size, AThousandChecksumsAreCorrected) {
  MapBuilder builder = flash(0x20000);
  builder.checksum("c", kCrc32, {range_at(0, 60, R"("stride": 64)")}, {slot_at(60, 4, R"("stride": 64)")},
                   R"("repeat": 1000)");
  builder.checksum("all", kCrc32, {range_at(0, 64000)}, {slot_at(0x10000, 4)});
  builder.copy("mirror", 0x10010, 0x0000, 64000);
  const RegionMap map = builder.parse();
  expect_corrects(map, 1);
}

}  // namespace
}  // namespace calseal
