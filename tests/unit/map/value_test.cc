// Each algorithm over the message "123456789" placed in an image, and every way in which a slot can hold its
// result.
#include "calseal/map/value.h"

#include <gtest/gtest.h>

#include "calseal/map/correct.h"
#include "calseal/map/verify.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMessage = 0x21;  // odd on purpose
constexpr std::uint64_t kSlot = 0x80;

MapBuilder one_memory() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100);
  return builder;
}

// The image after correction of a map whose checksum covers the nine digits.
Image corrected(const RegionMap& map) {
  Image image = filled_image(map);
  put_text(image, kMessage, "123456789");
  const Plan plan = make_plan(map, image).value();
  EXPECT_THAT(correct(plan, image), IsOk());
  EXPECT_EQ(verify_check(plan, 0, image).state, CheckState::kHolds);
  return image;
}

struct AlgorithmRow {
  std::string name;
  std::string algorithm;
  std::string stored;  // big-endian
  std::string source;
};

class Algorithms : public testing::TestWithParam<AlgorithmRow> {};

TEST_P(Algorithms, PutTheirCheckValueIntoTheSlot) {
  const AlgorithmRow& row = GetParam();
  const std::uint64_t size = row.stored.size() / 2;
  const RegionMap map =
      one_memory()
          .checksum("c", row.algorithm, {range_at(kMessage, 9)},
                    {slot_at(kSlot, size,
                             row.algorithm.find("sha") == std::string::npos ? R"("order": "big")" : "")})
          .parse();
  const Image image = corrected(map);
  EXPECT_EQ(hex_at(image, kSlot, size), row.stored) << row.source;
  if (map.checksums[0].algorithm.kind != AlgorithmKind::kSha256) {
    EXPECT_EQ(reference::first_wrong(map, image), "");
  }
}

const char* const kCatalogue = "catalogue of parametrised CRC algorithms, check";
const char* const kByHand = "added by hand";

INSTANTIATE_TEST_SUITE_P(
    Published, Algorithms,
    testing::Values(
        AlgorithmRow{"Crc5Usb", R"({"crc": "CRC-5/USB"})", "19", kCatalogue},
        AlgorithmRow{"Crc8Smbus", R"({"crc": "CRC-8/SMBUS"})", "f4", kCatalogue},
        AlgorithmRow{"Crc12Umts", R"({"crc": "CRC-12/UMTS"})", "0daf", kCatalogue},
        AlgorithmRow{"Crc16Ibm3740", R"({"crc": "CRC-16/IBM-3740"})", "29b1", kCatalogue},
        AlgorithmRow{"Crc16Arc", R"({"crc": "CRC-16/ARC"})", "bb3d", kCatalogue},
        AlgorithmRow{
            "Crc16ByParameters",
            R"({"crc": {"width": 16, "poly": "0x1021", "init": 0, "refin": false, "refout": false, "xorout": 0}})",
            "31c3", kCatalogue},
        AlgorithmRow{"Crc24Openpgp", R"({"crc": "CRC-24/OPENPGP"})", "21cf02", kCatalogue},
        AlgorithmRow{"Crc32IsoHdlc", R"({"crc": "CRC-32/ISO-HDLC"})", "cbf43926", kCatalogue},
        AlgorithmRow{"Crc32Bzip2", R"({"crc": "CRC-32/BZIP2"})", "fc891918", kCatalogue},
        AlgorithmRow{"Crc64Xz", R"({"crc": "CRC-64/XZ"})", "995dc9bbdf1939fa", kCatalogue},
        AlgorithmRow{"Sum8", R"({"sum": {"unit": 8}})", "dd", kByHand},
        AlgorithmRow{"Sum8In16", R"({"sum": {"unit": 8, "accumulator": 16}})", "01dd", kByHand},
        AlgorithmRow{"Xor8", R"({"sum": {"unit": 8, "operation": "xor"}})", "31", kByHand},
        AlgorithmRow{"Sum16Little", R"({"sum": {"unit": 16}})", "d509", kByHand},
        AlgorithmRow{"Sum16BigIn32", R"({"sum": {"unit": 16, "order": "big", "accumulator": 32}})",
                     "000109d4", kByHand},
        AlgorithmRow{"Sum16EndAround",
                     R"({"sum": {"unit": 16, "order": "big", "operation": "add-end-around"}})", "09d5",
                     kByHand},
        AlgorithmRow{"Sum32WithStart", R"({"sum": {"unit": 32, "order": "big", "init": 1}})", "9f686a6d",
                     kByHand},
        AlgorithmRow{"Sum64", R"({"sum": {"unit": 64}})", "383736353433326a", kByHand},
        AlgorithmRow{"Fletcher16", R"({"fletcher": 16})", "1ede", "widely published value"},
        AlgorithmRow{"Fletcher32", R"({"fletcher": 32})", "df09d509", "widely published value"},
        AlgorithmRow{"Adler32", R"({"adler": 32})", "091e01de", "widely published value"},
        AlgorithmRow{"Sha256", R"({"sha": 256})",
                     "15e2b0d3c33891ebb0f1ef609ec419420c20e320ce94c65fbc8c3312448eb225",
                     "widely published value"}),
    [](const auto& row) { return row.param.name; });

struct SlotRow {
  std::string name;
  std::vector<std::string> slots;
  std::string more;
  std::uint64_t size;
  std::string stored;  // hexadecimal of kSlot ..., or the text itself where it begins with '='
};

class Slots : public testing::TestWithParam<SlotRow> {};

TEST_P(Slots, HoldTheResultAsDeclared) {
  const SlotRow& row = GetParam();
  const RegionMap map =
      one_memory().checksum("c", kCrc32, {range_at(kMessage, 9)}, row.slots, row.more).parse();
  const Image image = corrected(map);
  if (row.stored.starts_with('=')) {
    EXPECT_EQ("=" + text_at(image, kSlot, row.size), row.stored);
  } else {
    EXPECT_EQ(hex_at(image, kSlot, row.size), row.stored);
  }
  EXPECT_EQ(reference::first_wrong(map, image), "");
}

std::string slot(std::uint64_t size, std::string_view more, std::uint64_t offset = 0) {
  return slot_at(kSlot + offset, size, more);
}

// 0xcbf43926 = 3421780262; complement 0x340bc6d9, negated 0x340bc6da, mirrored 0x649c2fd3.
INSTANTIATE_TEST_SUITE_P(
    Forms, Slots,
    testing::Values(
        SlotRow{"Little", {slot(4, "")}, "", 4, "2639f4cb"},
        SlotRow{"Big", {slot(4, R"("order": "big")")}, "", 4, "cbf43926"},
        SlotRow{"WiderLittle", {slot(6, "")}, "", 6, "2639f4cb0000"},
        SlotRow{"WiderThanAnyNumberBig", {slot(12, R"("order": "big")")}, "", 12, "0000000000000000cbf43926"},
        SlotRow{"HexLower", {slot(8, R"("encoding": "hex-lower")")}, "", 8, "=cbf43926"},
        SlotRow{"HexUpperPadded",
                {slot(10, R"("encoding": "hex-upper", "order": "big")")},
                "",
                10,
                "=00CBF43926"},
        SlotRow{"Decimal", {slot(10, R"("encoding": "decimal")")}, "", 10, "=3421780262"},
        SlotRow{"DecimalPadded", {slot(12, R"("encoding": "decimal")")}, "", 12, "=003421780262"},
        SlotRow{"Complement", {slot(4, R"("transform": "complement", "order": "big")")}, "", 4, "340bc6d9"},
        SlotRow{"Negate", {slot(4, R"("transform": "negate", "order": "big")")}, "", 4, "340bc6da"},
        SlotRow{"Reverse", {slot(4, R"("transform": "reverse", "order": "big")")}, "", 4, "649c2fd3"},
        SlotRow{"ComplementIsWithinItsBits",
                {slot(6, R"("transform": "complement", "order": "big")")},
                "",
                6,
                "0000340bc6d9"},
        SlotRow{"ComplementInDigits",
                {slot(8, R"("transform": "complement", "encoding": "hex-upper")")},
                "",
                8,
                "=340BC6D9"},
        SlotRow{"SplitInHalves", {slot(2, R"("bits": 16)"), slot(2, R"("from": 16)", 2)}, "", 4, "2639f4cb"},
        SlotRow{"SplitHighFirst",
                {slot(2, R"("from": 16, "order": "big")"), slot(2, R"("bits": 16, "order": "big")", 2)},
                "",
                4,
                "cbf43926"},
        SlotRow{"SplitUnevenly",
                {slot(1, R"("bits": 5)"), slot(4, R"("from": 5, "order": "big")", 1)},
                "",
                5,
                "06065fa1c9"},
        SlotRow{"SecondSlotComplemented",
                {slot(4, ""), slot(4, R"("transform": "complement")", 4)},
                "",
                8,
                "2639f4cbd9c60b34"},
        SlotRow{"HalvesComplementedEach",
                {slot(2, R"("bits": 16, "transform": "complement", "order": "big")"),
                 slot(2, R"("from": 16, "order": "big")", 2)},
                "",
                4,
                "c6d9cbf4"},
        SlotRow{"LowBitsOnly", {slot(2, R"("order": "big")")}, R"("bits": 16)", 2, "3926"},
        SlotRow{"LowBitsOfTheComplement",
                {slot(2, R"("order": "big")")},
                R"("bits": 12, "complement": "ones")",
                2,
                "06d9"},
        SlotRow{"OnesComplementOfTheValue",
                {slot(4, R"("order": "big")")},
                R"("complement": "ones")",
                4,
                "340bc6d9"},
        SlotRow{"TwosComplementOfTheValue",
                {slot(4, R"("order": "big")")},
                R"("complement": "twos")",
                4,
                "340bc6da"},
        SlotRow{"AddedConstant", {slot(4, R"("order": "big")")}, R"("add": "0x40000000")", 4, "0bf43926"},
        SlotRow{"ComplementThenAdd",
                {slot(4, R"("order": "big")")},
                R"("complement": "ones", "add": 1)",
                4,
                "340bc6da"}),
    [](const auto& row) { return row.param.name; });

TEST(Slots, OfSha256HoldLeadingBytesInPieces) {
  const RegionMap map = one_memory()
                            .checksum("c", R"({"sha": 256})", {range_at(kMessage, 9)},
                                      {slot(4, ""), slot(3, R"("from": 4, "transform": "complement")", 4)})
                            .parse();
  EXPECT_EQ(hex_at(corrected(map), kSlot, 7), "15e2b0d33cc76e");
}

TEST(Slots, NegatedZeroIsZero) {
  const Algorithm algorithm{};
  Slot zero;
  zero.place = {0, {0, 4}};
  zero.transform = SlotTransform::kNegate;
  EXPECT_EQ(to_hex(encode_slot(algorithm, zero, {0, {}})), "00000000");
}

TEST(Words, AreTheirOwnInverse) {
  for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
    for (std::size_t size = 1; size <= 8; ++size) {
      const std::uint64_t number = 0xfedcba9876543210 & low_mask(static_cast<int>(8 * size));
      EXPECT_EQ(decode_word(encode_word(number, size, order), order), number) << size;
    }
  }
  EXPECT_EQ(to_hex(encode_word(0x0102, 3, ByteOrder::kBig)), "000102");
  EXPECT_EQ(to_hex(encode_word(0x0102, 3, ByteOrder::kLittle)), "020100");
}

TEST(Results, AreUndoneWithinTheirLowBits) {
  Checksum checksum;
  checksum.algorithm.kind = AlgorithmKind::kSum;
  checksum.algorithm.sum.accumulator = 16;
  for (const Complement complement : {Complement::kNone, Complement::kOnes, Complement::kTwos}) {
    for (const int bits : {1, 7, 16}) {
      checksum.complement = complement;
      checksum.bits = bits;
      checksum.add = 0x8125;
      for (std::uint64_t value = 0; value < 0x10000; value += 37) {
        const std::uint64_t result = finish_value(checksum, {value, {}}).number;
        EXPECT_LT(result, std::uint64_t{1} << bits);
        ASSERT_EQ(unfinish_number(checksum, result), value & low_mask(bits)) << value;
      }
    }
  }
}

}  // namespace
}  // namespace calseal
