// What the parser makes of the good maps, value by value.
#include <gtest/gtest.h>

#include "calseal/base/file.h"
#include "calseal/digest/catalogue.h"
#include "calseal/map/region_map.h"
#include "support/fixtures.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kFlash = 0x80000000;

RegionMap good(const std::string& name) {
  return parse_region_map(read_file(fixtures() + "/region_maps/good/" + name, kRegionMapSizeLimit).value(),
                          name)
      .value();
}

const Checksum& checksum(const RegionMap& map, std::string_view name) {
  for (const Checksum& one : map.checksums) {
    if (one.name == name) return one;
  }
  throw std::runtime_error("no checksum " + std::string(name));
}

TEST(RegionMapParse, TakesTheSmallestMap) {
  const RegionMap map = good("minimal.json");
  EXPECT_EQ(map.name, "example");
  EXPECT_EQ(map.controller, "engine");
  EXPECT_EQ(map.version, 1U);
  ASSERT_EQ(map.memories.size(), 2U);
  EXPECT_EQ(map.memories[0].extent, (Range{kFlash, kFlash + 0x10000}));
  EXPECT_EQ(map.memories[0].segments, std::vector<Range>{map.memories[0].extent});
  EXPECT_EQ(map.memories[0].fill, 0xff);
  EXPECT_FALSE(map.memories[0].hole_is_fill);
  EXPECT_TRUE(map.regions.empty());
  EXPECT_EQ(map.grade(), "draft");
  EXPECT_EQ(policy_at(map, 0, kFlash), Policy::kLocked);
}

TEST(RegionMapParse, KeepsMemoriesRecognitionAndForms) {
  const RegionMap map = good("every-section.json");
  EXPECT_EQ(map.title, "Example family, every section");
  EXPECT_EQ(map.note, "Made up; belongs to no real controller.\nSecond line.");
  EXPECT_EQ(map.memories[0].fill, 0x00);
  EXPECT_TRUE(map.memories[0].hole_is_fill);
  EXPECT_EQ(map.memories[0].segments, (std::vector<Range>{{kFlash, kFlash + 0x10000},
                                                          {kFlash + 0x10000, kFlash + 0x11000},
                                                          {kFlash + 0x18000, kFlash + 0x20000}}));
  ASSERT_EQ(map.recognition.all.size(), 2U);
  EXPECT_EQ(map.recognition.all[0].mask, (Bytes{0xff, 0xff, 0x00}));
  EXPECT_EQ(map.recognition.all[1].mask, Bytes{0xff});
  EXPECT_EQ(map.recognition.software_numbers, (std::vector<std::string>{"1037500001", "1037500002"}));
  ASSERT_EQ(map.forms.size(), 1U);
  ASSERT_EQ(map.forms[0].blocks.size(), 5U);
  EXPECT_EQ(map.forms[0].blocks[0].constant, (Bytes{0xca, 0xfe}));
  EXPECT_EQ(map.forms[0].blocks[1].size, 16U);
  EXPECT_EQ(map.forms[0].blocks[3].place, (Place{0, {kFlash + 0x18000, kFlash + 0x20000}}));
}

TEST(RegionMapParse, ExpandsAndSortsRegionsAndSectors) {
  const RegionMap map = good("every-section.json");
  std::vector<std::string> names;
  for (const Region& region : map.regions) names.push_back(region.name);
  EXPECT_EQ(names, (std::vector<std::string>{"maps", "sum", "blocks[0]", "blocks[1]", "blocks[2]",
                                             "blocks[3]", "boot", "learned"}));
  EXPECT_EQ(map.regions[4].place, (Place{0, {kFlash + 0x8200, kFlash + 0x8280}}));
  EXPECT_EQ(*map.regions[4].note, "four alike");
  ASSERT_EQ(map.sectors.size(), 6U);
  EXPECT_EQ(map.sectors[0], (Place{0, {kFlash, kFlash + 0x4000}}));
  EXPECT_EQ(map.sectors[5], (Place{0, {kFlash + 0x18000, kFlash + 0x20000}}));
}

TEST(RegionMapParse, KeepsPatchesCopiesIdentityAndEvidence) {
  const RegionMap map = good("every-section.json");
  ASSERT_EQ(map.patches.size(), 1U);
  EXPECT_EQ(map.patches[0].place, (Place{0, {kFlash + 0x200, kFlash + 0x202}}));
  EXPECT_EQ(map.patches[0].after, (Bytes{0, 0}));
  ASSERT_EQ(map.copies.size(), 4U);
  EXPECT_EQ(map.copies[0].of, (Place{0, {kFlash + 0x4000, kFlash + 0x5000}}));
  EXPECT_EQ(map.copies[0].active_bank->equals, Bytes{1});
  EXPECT_EQ(map.copies[1].transform, CopyTransform::kComplement);
  EXPECT_EQ(map.copies[2].transform, CopyTransform::kOffset);
  EXPECT_EQ(map.copies[2].offset, 3);
  EXPECT_EQ(map.copies[3].of, (Place{1, {0x200, 0x204}}));
  ASSERT_EQ(map.identity.size(), 8U);
  EXPECT_EQ(map.identity[1].pattern, "@?.\\**");
  EXPECT_TRUE(map.identity[3].binds);
  EXPECT_EQ(map.identity[4].encoding, IdentityEncoding::kBcd);
  const std::vector<std::string_view> kinds = {
      "software-number", "calibration-id",  "verification-number", "vin",
      "serial",          "hardware-number", "revision-mark",       "other"};
  for (std::size_t i = 0; i < kinds.size(); ++i)
    EXPECT_EQ(identity_kind_name(map.identity[i].kind), kinds[i]);
  ASSERT_EQ(map.signed_parts.size(), 1U);
  EXPECT_EQ(map.signed_parts[0].places[1], (Place{0, {kFlash + 0xf200, kFlash + 0xf240}}));
  EXPECT_EQ(map.evidence.verified_on.size(), 2U);
  EXPECT_EQ(map.evidence.verified_on[0].bytes[31], 1);
  EXPECT_EQ(map.grade(), "verified");
}

TEST(RegionMapParse, TellsThePolicyOfAByte) {
  const RegionMap map = good("every-section.json");
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x3fff), Policy::kLocked);
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x4000), Policy::kEditable);
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x5fff), Policy::kEditable);
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x6000), Policy::kDerived);  // slot
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x6004), Policy::kLocked);
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x8080), Policy::kLocked);  // between two of a repetition
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x8100), Policy::kEditable);
  EXPECT_EQ(policy_at(map, 0, kFlash + 0x18000), Policy::kDerived);  // copy
  EXPECT_EQ(policy_at(map, 1, 0x1ff), Policy::kVolatile);
  EXPECT_EQ(policy_at(map, 1, 0x200), Policy::kLocked);
  const RegionMap rules = good("rules.json");
  EXPECT_EQ(policy_at(rules, 0, kFlash + 0x11fc), Policy::kDerived);  // balance
  EXPECT_EQ(policy_at(rules, 0, kFlash + 0x11fb), Policy::kLocked);
  EXPECT_EQ(policy_name(Policy::kDerived), "derived");
}

TEST(RegionMapParse, NamesPlacesAndMemories) {
  const RegionMap map = good("every-section.json");
  EXPECT_EQ(place_text(map, map.regions[0].place), "flash 0x80004000-0x80005fff");
  EXPECT_EQ(map.memory_index("eeprom"), 1U);
  EXPECT_EQ(map.memory_index("ram"), 2U);
}

TEST(RegionMapParse, ReadsEveryAlgorithm) {
  const RegionMap map = good("every-checksum.json");
  EXPECT_EQ(checksum(map, "by-name").algorithm.name, "CRC-16/IBM-3740");
  EXPECT_EQ(checksum(map, "by-alias").algorithm.crc, checksum(map, "by-name").algorithm.crc);
  EXPECT_EQ(checksum(map, "explicit").algorithm.crc, (CrcParameters{16, 0x1021, 0, false, false, 0}));
  EXPECT_EQ(algorithm_bits(checksum(map, "wide").algorithm), 64);
  EXPECT_EQ(checksum(map, "low-half").bits, 16);
  EXPECT_EQ(checksum(map, "bytes-in-32").algorithm.name, "sum of bytes in 32 bits");
  EXPECT_EQ(checksum(map, "internet").algorithm.name, "one's complement sum of 16-bit big-endian words");
  EXPECT_EQ(checksum(map, "internet").complement, Complement::kOnes);
  const Checksum& negated = checksum(map, "negated");
  EXPECT_EQ(negated.algorithm.sum.init, 0x55aaU);
  EXPECT_EQ(negated.add, 0xffffffffU);
  EXPECT_EQ(negated.complement, Complement::kTwos);
  EXPECT_EQ(checksum(map, "folded").algorithm.sum.operation, SumOperation::kXor);
  EXPECT_EQ(algorithm_bits(checksum(map, "fletcher-bytes").algorithm), 16);
  EXPECT_EQ(checksum(map, "fletcher-words").algorithm.order, ByteOrder::kBig);
  EXPECT_EQ(algorithm_bits(checksum(map, "adler").algorithm), 32);
  EXPECT_EQ(algorithm_bits(checksum(map, "digest").algorithm), 256);
}

TEST(RegionMapParse, ReadsSlots) {
  const RegionMap map = good("every-checksum.json");
  EXPECT_EQ(checksum(map, "by-name").slots[0].order, ByteOrder::kBig);
  const Checksum& split = checksum(map, "split");
  EXPECT_EQ(split.slots[0].bits, 16);
  EXPECT_EQ(split.slots[1].from, 16);
  EXPECT_EQ(split.slots[1].place.range.size(), 8U);
  const Checksum& mirrored = checksum(map, "mirrored");
  EXPECT_EQ(mirrored.slots[0].transform, SlotTransform::kPlain);
  EXPECT_EQ(mirrored.slots[1].transform, SlotTransform::kComplement);
  EXPECT_EQ(mirrored.slots[2].transform, SlotTransform::kNegate);
  EXPECT_EQ(mirrored.slots[3].transform, SlotTransform::kReverse);
  const Checksum& digits = checksum(map, "digits");
  EXPECT_EQ(digits.slots[0].encoding, SlotEncoding::kDecimal);
  EXPECT_EQ(digits.slots[0].bits, 16);
  EXPECT_EQ(digits.slots[1].encoding, SlotEncoding::kHexLower);
  EXPECT_EQ(digits.slots[2].encoding, SlotEncoding::kHexUpper);
  const Checksum& cut = checksum(map, "digest-cut");
  EXPECT_EQ(cut.slots[1].from, 8);
  EXPECT_EQ(cut.slots[1].bits, 32);
}

TEST(RegionMapParse, ReadsCoverage) {
  const RegionMap map = good("every-checksum.json");
  const Checksum& pieces = checksum(map, "pieces");
  ASSERT_EQ(pieces.coverage.size(), 5U);
  EXPECT_EQ(*std::get<CoverageLiteral>(pieces.coverage[0]).bytes, (Bytes{0x00, 0xff}));
  EXPECT_EQ(std::get<CoverageRange>(pieces.coverage[1]).place,
            (Place{0, {kFlash + 0x5000, kFlash + 0x5010}}));
  ASSERT_EQ(pieces.substitutes.size(), 2U);
  EXPECT_EQ(pieces.substitutes[0].as, 0xff);
  EXPECT_EQ(checksum(map, "swapped-16").swap, 16);
  EXPECT_EQ(checksum(map, "swapped-32").swap, 32);
  const Checksum& found = checksum(map, "found");
  const auto& second = std::get<CoverageTable>(found.coverage[1]);
  EXPECT_EQ(second.table.end, DescriptorTable::End::kAfter);
  EXPECT_EQ(second.table.order, ByteOrder::kLittle);
  EXPECT_EQ(second.table.start_at, 4U);
  EXPECT_EQ(second.table.end_at, 8U);
  EXPECT_TRUE(second.table.skip_blank);
  EXPECT_FALSE(second.record.has_value());
  EXPECT_EQ(std::get<CoverageTable>(found.coverage[2]).table.end, DescriptorTable::End::kLength);
}

TEST(RegionMapParse, ExpandsRepeatedChecksums) {
  const RegionMap map = good("every-checksum.json");
  const Checksum& block = checksum(map, "block[3]");
  EXPECT_EQ(std::get<CoverageRange>(block.coverage[0]).place, (Place{0, {kFlash + 0x8300, kFlash + 0x83fc}}));
  EXPECT_EQ(block.substitutes[0].place, (Place{0, {kFlash + 0x8310, kFlash + 0x8312}}));
  EXPECT_EQ(block.slots[0].place, (Place{0, {kFlash + 0x83fc, kFlash + 0x8400}}));
  EXPECT_EQ(std::get<CoverageTable>(checksum(map, "own[1]").coverage[0]).record, 1U);
  EXPECT_EQ(*checksum(good("rules.json"), "repeated[2]").rule->balance,
            (Place{0, {kFlash + 0x20be, kFlash + 0x20c0}}));
}

TEST(RegionMapParse, TurnsTheResidueIntoTheResultOfAGoodCodeword) {
  const RegionMap map = good("rules.json");
  const Checksum& residue = checksum(map, "crc-residue");
  const Crc crc(residue.algorithm.crc);
  // A codeword: a message, and its CRC appended in the order in which the bits were fed, here low byte first.
  Bytes codeword = {0x31, 0x32, 0x33};
  const std::uint64_t value = crc.compute(codeword);
  for (int i = 0; i < 4; ++i) codeword.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
  EXPECT_EQ(residue.rule->equals, crc.compute(codeword));
  EXPECT_FALSE(residue.rule->balance.has_value());
  EXPECT_EQ(checksum(map, "xor-target").rule->order, ByteOrder::kBig);
}

}  // namespace
}  // namespace calseal
