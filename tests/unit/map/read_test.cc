// Files laid into memories and written back.
#include "calseal/map/read.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

ReadFile file(std::string memory, Bytes bytes, std::string name = "read.bin") {
  return {std::move(memory), std::move(name), std::move(bytes)};
}

Bytes text_bytes(const std::string& text) { return {text.begin(), text.end()}; }

Bytes counting(std::size_t size, std::uint8_t first = 0) {
  Bytes bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::uint8_t>(first + i);
  return bytes;
}

MapBuilder one() {
  MapBuilder builder;
  builder.memory("flash", 0x100, 0x40);
  return builder;
}

MapBuilder two() {
  MapBuilder builder = one();
  builder.memory("eeprom", 0x1000, 0x10);
  return builder;
}

// What was read gives the same files, byte for byte.
void expect_round_trip(const RegionMap& map, const Read& read) {
  const auto files = render_read(map, read, read.image);
  ASSERT_THAT(files, IsOk());
  ASSERT_EQ(files->size(), read.sources.size());
  for (std::size_t i = 0; i < files->size(); ++i)
    EXPECT_TRUE(std::ranges::equal((*files)[i], file_bytes(read, read.sources[i]))) << i;
}

TEST(ReadArgument, SplitsAtAMemoryName) {
  const struct {
    const char *argument, *memory, *name;
  } rows[] = {{"read.bin", "", "read.bin"},
              {"flash=read.bin", "flash", "read.bin"},
              {"int_flash-2=a=b", "int_flash-2", "a=b"},
              {"./a=b.bin", "", "./a=b.bin"},
              {"A=b", "", "A=b"},
              {"=b", "", "=b"},
              {"flash=", "flash", ""},
              {"", "", ""}};
  for (const auto& row : rows) {
    const ReadFile parsed = parse_read_argument(row.argument);
    EXPECT_EQ(parsed.memory, row.memory) << row.argument;
    EXPECT_EQ(parsed.name, row.name) << row.argument;
  }
}

TEST(LoadRaw, FillsTheOnlyMemory) {
  const RegionMap map = one().parse();
  const auto read = load_read(map, {file("", counting(0x40))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->image.memories[0].bytes, counting(0x40));
  EXPECT_EQ(read->image.memories[0].known, RangeSet(Range{0x100, 0x140}));
  EXPECT_EQ(read->sources[0].memory, "flash");
  EXPECT_EQ(read->sources[0].form, "raw");
  expect_round_trip(map, *read);
}

TEST(LoadRaw, FillsSegmentsOneAfterAnother) {
  MapBuilder builder;
  builder.memory("flash", 0x100, 0x40,
                 R"("segments": [{"start": "0x00000100", "size": 8}, {"start": "0x00000120", "size": 8}])");
  const RegionMap map = builder.parse();
  const auto read = load_read(map, {file("", counting(0x10))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(hex_at(read->image, 0x120, 8), "08090a0b0c0d0e0f");
  EXPECT_FALSE(read->image.memories[0].known.contains(0x108));
  expect_round_trip(map, *read);
  EXPECT_THAT(load_read(map, {file("", counting(0x40))}), FailsWith(Reason::kImageSize, "flash"));
}

TEST(LoadRaw, GoesToTheNamedMemories) {
  const RegionMap map = two().parse();
  const auto read = load_read(map, {file("eeprom", counting(0x10, 0x80)), file("flash", counting(0x40))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->image.memories[0].bytes, counting(0x40));
  EXPECT_EQ(read->image.memories[1].bytes, counting(0x10, 0x80));
  EXPECT_EQ(read->sources[0].memory, "eeprom");
  expect_round_trip(map, *read);
}

TEST(LoadRaw, WhatNoFileGivesIsUnknown) {
  const RegionMap map = two().parse();
  const auto read = load_read(map, {file("eeprom", counting(0x10))});
  ASSERT_THAT(read, IsOk());
  EXPECT_TRUE(read->image.memories[0].known.empty());
  EXPECT_EQ(read->image.memories[0].bytes, Bytes(0x40, 0xff));
  const auto none = load_read(map, {});
  ASSERT_THAT(none, IsOk());
  EXPECT_TRUE(none->image.memories[1].known.empty());
}

TEST(LoadRaw, ASizeThatOneMemoryAloneHasNeedsNoName) {
  const RegionMap map = two().parse();
  const auto read = load_read(map, {file("", counting(0x10, 0x80)), file("", counting(0x40))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->image.memories[0].bytes, counting(0x40));
  EXPECT_EQ(read->image.memories[1].bytes, counting(0x10, 0x80));
  EXPECT_EQ(read->sources[0].memory, "eeprom");
  expect_round_trip(map, *read);
  MapBuilder twins = two();
  twins.memory("coding", 0x2000, 0x10);
  EXPECT_THAT(load_read(twins.parse(), {file("", counting(0x40))}), IsOk());
  EXPECT_THAT(load_read(twins.parse(), {file("", counting(0x10))}), FailsWith(Reason::kMemoryMissing));
}

TEST(LoadRaw, Refusals) {
  EXPECT_THAT(load_read(one().parse(), {file("", counting(0x3f))}), FailsWith(Reason::kImageSize, "flash"));
  EXPECT_THAT(load_read(one().parse(), {file("", counting(0x41))}), FailsWith(Reason::kImageSize, "flash"));
  EXPECT_THAT(load_read(two().parse(), {file("eeprom", counting(0x40))}),
              FailsWith(Reason::kImageSize, "eeprom"));
  EXPECT_THAT(load_read(two().parse(), {file("", counting(0x41))}), FailsWith(Reason::kMemoryMissing));
  EXPECT_THAT(load_read(two().parse(), {file("rom", counting(0x40))}), FailsWith(Reason::kMemoryUnknown));
  EXPECT_THAT(load_read(one().parse(), {file("", {})}), FailsWith(Reason::kFileEmpty));
  EXPECT_THAT(load_read(one().parse(), {file("", counting(0x40)), file("", counting(0x40), "again.bin")}),
              FailsWith(Reason::kRecordOverlap, "flash 0x00000100"));
  const auto named =
      load_read(two().parse(), {file("flash", counting(0x40)), file("rom", counting(1), "second.bin")});
  ASSERT_FALSE(named.has_value());
  EXPECT_EQ(named.error().file, "second.bin");
}

// --- record files

class Records : public testing::TestWithParam<FormKind> {
 protected:
  static Bytes records(const std::vector<Segment>& segments) {
    return text_bytes(GetParam() == FormKind::kIntelHex ? write_intel_hex(segments)
                                                        : write_s_record(segments));
  }
};

TEST_P(Records, GoWhereTheirAddressesLie) {
  const RegionMap map = two().parse();
  const auto read = load_read(map, {file("", records({{0x104, counting(8)}, {0x1002, counting(4, 0x80)}}))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->image.memories[0].known, RangeSet(Range{0x104, 0x10c}));
  EXPECT_EQ(hex_at(read->image, 0x1002, 4, 1), "80818283");
  EXPECT_EQ(read->sources[0].memory, "");
  EXPECT_EQ(read->sources[0].form, form_name(GetParam()));
  expect_round_trip(map, *read);
}

TEST_P(Records, OfOneMemoryNameIt) {
  const RegionMap map = two().parse();
  const auto read = load_read(map, {file("", records({{0x1000, counting(0x10)}})),
                                    file("flash", records({{0x100, counting(0x40)}}))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->sources[0].memory, "eeprom");
  EXPECT_EQ(read->sources[1].memory, "flash");
  expect_round_trip(map, *read);
}

TEST_P(Records, RunAcrossSegmentsThatTouch) {
  MapBuilder builder;
  builder.memory("flash", 0x100, 0x40,
                 R"("segments": [{"start": "0x00000100", "size": 16}, {"start": "0x00000110", "size": 16}])");
  const RegionMap map = builder.parse();
  const auto read = load_read(map, {file("", records({{0x100, counting(0x20)}}))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->image.memories[0].known, RangeSet(Range{0x100, 0x120}));
  expect_round_trip(map, *read);
}

TEST_P(Records, RunAcrossMemoriesThatTouch) {
  MapBuilder builder = one();
  builder.memory("cal", 0x140, 0x20);
  const RegionMap map = builder.parse();
  const auto read = load_read(map, {file("", records({{0x130, counting(0x20)}}))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(hex_at(read->image, 0x130, 4), "00010203");
  EXPECT_EQ(hex_at(read->image, 0x140, 4, 1), "10111213");
  EXPECT_EQ(read->sources[0].memory, "");
  expect_round_trip(map, *read);
  EXPECT_THAT(load_read(map, {file("flash", records({{0x130, counting(0x20)}}))}),
              FailsWith(Reason::kImageOutside, "0x00000140-0x0000014f"));
}

TEST_P(Records, TakeTheOnlyMemoryThatHasThemWhole) {
  MapBuilder builder;
  builder.memory("large", 0, 0x100).memory("small", 0x10, 0x10);
  const RegionMap map = builder.parse();
  const auto read = load_read(map, {file("", records({{0x00, counting(0x40)}}))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->sources[0].memory, "large");
  EXPECT_THAT(load_read(map, {file("", records({{0x12, counting(4)}}))}),
              FailsWith(Reason::kMemoryMissing, "0x00000012"));
  const auto named = load_read(map, {file("small", records({{0x12, counting(4)}}))});
  ASSERT_THAT(named, IsOk());
  EXPECT_TRUE(named->image.memories[0].known.empty());
  expect_round_trip(map, *named);
}

TEST_P(Records, OfAddressesThatTwoMemoriesShareMustBeNamed) {
  MapBuilder builder;
  builder.memory("a", 0, 0x20).memory("b", 0x10, 0x20);
  EXPECT_THAT(load_read(builder.parse(), {file("", records({{0x00, counting(0x30)}}))}),
              FailsWith(Reason::kMemoryMissing, "0x00000010-0x0000001f"));
}

TEST_P(Records, OutsideAreRefused) {
  const RegionMap map = two().parse();
  EXPECT_THAT(load_read(map, {file("", records({{0x2000, counting(4)}}))}),
              FailsWith(Reason::kImageOutside, "0x00002000-0x00002003"));
  EXPECT_THAT(load_read(map, {file("", records({{0xfe, counting(4)}}))}),
              FailsWith(Reason::kImageOutside, "0x000000fe-0x000000ff"));
  EXPECT_THAT(load_read(map, {file("", records({{0x13e, counting(4)}}))}),
              FailsWith(Reason::kImageOutside, "0x00000140-0x00000141"));
  EXPECT_THAT(load_read(map, {file("flash", records({{0x1000, counting(4)}}))}),
              FailsWith(Reason::kImageOutside, "0x00001000"));
}

TEST_P(Records, OverlapsBetweenFilesAreRefused) {
  EXPECT_THAT(load_read(two().parse(),
                        {file("flash", counting(0x40)), file("", records({{0x13f, counting(1)}}), "b.hex")}),
              FailsWith(Reason::kRecordOverlap, "flash 0x0000013f"));
}

TEST_P(Records, HolesAreKnownOnlyWhereDeclared) {
  MapBuilder builder;
  builder
      .memory("flash", 0x100, 0x40,
              R"("hole_is_fill": true, "fill": "00", "segments": [{"start": "0x00000100", "size": 32}])")
      .memory("eeprom", 0x1000, 0x10, R"("hole_is_fill": true)");
  const RegionMap map = builder.parse();
  const auto read = load_read(map, {file("", records({{0x104, counting(2, 1)}}))});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->image.memories[0].known, RangeSet(Range{0x100, 0x120}));
  EXPECT_EQ(hex_at(read->image, 0x102, 6), "000001020000");
  EXPECT_TRUE(read->image.memories[1].known.empty());  // no file speaks of it
  expect_round_trip(map, *read);
}

TEST_P(Records, ChangesAreWrittenBack) {
  const RegionMap map = two().parse();
  const auto read = load_read(map, {file("", records({{0x100, counting(0x40)}}))});
  ASSERT_THAT(read, IsOk());
  Image edited = read->image;
  byte_at(edited, 0x111) = 0xee;
  const auto files = render_read(map, *read, edited);
  ASSERT_THAT(files, IsOk());
  const auto again = load_read(map, {file("", (*files)[0])});
  ASSERT_THAT(again, IsOk());
  EXPECT_TRUE(same_bytes(again->image, edited));
}

INSTANTIATE_TEST_SUITE_P(Forms, Records, testing::Values(FormKind::kIntelHex, FormKind::kSRecord),
                         [](const auto& row) {
                           return row.param == FormKind::kIntelHex ? "IntelHex" : "SRecord";
                         });

TEST(DamagedRecords, KeepTheirReason) {
  const std::string damaged = ":0401000000010203F4\n:00000001FF\n";
  EXPECT_THAT(load_read(one().parse(), {file("", text_bytes(damaged))}), FailsWith(Reason::kRecordChecksum));
}

// --- declared forms

MapBuilder with_form() {
  MapBuilder builder = two();
  builder.add(
      "forms",
      R"({"name": "dump", "blocks": [{"constant": "cafe"}, {"memory": "eeprom", "start": "0x00001000", "size": 16},
    {"opaque": 3}, {"memory": "flash", "start": "0x00000120", "size": 32}, {"memory": "flash", "start": "0x00000100", "size": 32},
    {"constant": "00"}]})");
  return builder;
}

Bytes dump() {
  Bytes bytes = counting(2 + 16 + 3 + 64 + 1, 0x10);
  bytes[0] = 0xca;
  bytes[1] = 0xfe;
  bytes.back() = 0;
  return bytes;
}

TEST(DeclaredForms, FitBySizeAndConstants) {
  const RegionMap map = with_form().parse();
  const auto read = load_read(map, {file("", dump())});
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->sources[0].form, "dump");
  EXPECT_EQ(read->sources[0].declared, &map.forms[0]);
  EXPECT_EQ(read->image.memories[1].bytes[0], 0x12);
  EXPECT_EQ(read->image.memories[0].bytes[0x20], dump()[21]);
  EXPECT_EQ(read->image.memories[0].bytes[0], dump()[53]);
  expect_round_trip(map, *read);
}

TEST(DeclaredForms, KeepWhatIsOpaqueWhenWrittenBack) {
  const RegionMap map = with_form().parse();
  const auto read = load_read(map, {file("", dump())});
  ASSERT_THAT(read, IsOk());
  Image edited = read->image;
  byte_at(edited, 0x100) ^= 0xff;
  Bytes wanted = dump();
  wanted[53] ^= 0xff;
  EXPECT_EQ(render_read(map, *read, edited).value()[0], wanted);
}

TEST(DeclaredForms, OfThisSizeButOtherConstantsAreNamed) {
  Bytes bytes = dump();
  bytes[1] = 0xff;
  EXPECT_THAT(load_read(with_form().parse(), {file("", bytes)}), FailsWith(Reason::kFormUnknown, "offset 0"));
  bytes = dump();
  bytes.back() = 1;
  EXPECT_THAT(load_read(with_form().parse(), {file("", bytes)}),
              FailsWith(Reason::kFormUnknown, "offset 85"));
  bytes.push_back(0);
  EXPECT_THAT(load_read(with_form().parse(), {file("", bytes)}), FailsWith(Reason::kMemoryMissing));
}

TEST(DeclaredForms, OfTheOnlyMemoryComeBeforeItsRawSize) {
  MapBuilder builder = one();
  builder.add(
      "forms",
      R"({"name": "padded", "blocks": [{"memory": "flash", "start": "0x00000100", "size": 64}, {"constant": "aabb"}]})");
  const RegionMap map = builder.parse();
  Bytes bytes = counting(0x42);
  bytes[0x40] = 0xaa;
  bytes[0x41] = 0xbb;
  EXPECT_EQ(load_read(map, {file("", bytes)}).value().sources[0].form, "padded");
  EXPECT_EQ(load_read(map, {file("", counting(0x40))}).value().sources[0].form, "raw");
  EXPECT_THAT(load_read(map, {file("", counting(0x42))}), FailsWith(Reason::kFormUnknown, "offset 64"));
  // Named, and not as long as the memory: the form of that memory.
  EXPECT_EQ(load_read(map, {file("flash", bytes)}).value().sources[0].form, "padded");
  EXPECT_EQ(load_read(map, {file("flash", counting(0x40))}).value().sources[0].form, "raw");
  EXPECT_THAT(load_read(map, {file("flash", counting(0x41))}), FailsWith(Reason::kImageSize, "flash"));
}

// A form of several memories is none of one that is named.
TEST(DeclaredForms, OfSeveralMemoriesNeedNoName) {
  EXPECT_THAT(load_read(with_form().parse(), {file("flash", dump())}), FailsWith(Reason::kImageSize));
}

MapBuilder with_sum() {
  MapBuilder builder = one();
  builder.add("forms", R"({"name": "summed", "blocks": [{"constant": "aabb"}, {"opaque": 2},
      {"memory": "flash", "start": "0x00000110", "size": 48}], "omitted": [{"memory": "flash", "start": "0x00000100",
      "size": 16}], "fill": "ee", "checksums": [{"name": "sum", "algorithm": {"sum": {"unit": 8, "accumulator": 16}},
      "coverage": [{"memory": "file", "start": "0x00000004", "size": 48}],
      "slots": [{"memory": "file", "at": "0x00000002", "size": 2, "order": "big"}]}]})");
  return builder;
}

Bytes summed() {
  Bytes bytes = counting(52);
  bytes[0] = 0xaa;
  bytes[1] = 0xbb;
  unsigned sum = 0;
  for (std::size_t i = 4; i < bytes.size(); ++i) sum += bytes[i];
  bytes[2] = static_cast<std::uint8_t>(sum >> 8);
  bytes[3] = static_cast<std::uint8_t>(sum);
  return bytes;
}

TEST(DeclaredForms, OwnChecksumIsVerifiedAndRenewed) {
  const RegionMap map = with_sum().parse();
  const auto read = load_read(map, {file("", summed())});
  ASSERT_THAT(read, IsOk());
  expect_round_trip(map, *read);
  EXPECT_EQ(read->image.memories[0].bytes[15], 0xee);
  EXPECT_TRUE(read->image.memories[0].knows({0x100, 0x140}));
  Image edited = read->image;
  byte_at(edited, 0x110) += 3;
  Bytes wanted = summed();
  wanted[4] += 3;
  wanted[3] += 3;
  EXPECT_EQ(render_read(map, *read, edited).value()[0], wanted);
  byte_at(edited, 0x10f) = 0;
  EXPECT_THAT(render_read(map, *read, edited), FailsWith(Reason::kFormOmits, "flash 0x0000010f"));
  Bytes damaged = summed();
  damaged[20] ^= 1;
  const auto refused = load_read(map, {file("", damaged)});
  ASSERT_THAT(refused, FailsWith(Reason::kFormChecksum));
  EXPECT_THAT(refused.error().place, testing::HasSubstr("form \"summed\""));
  EXPECT_EQ(refused.error().file, "read.bin");
}

// A record file's hole is no place for a byte either.
TEST(ReadFiles, AHoleThatIsTheFillCannotBeWritten) {
  MapBuilder builder;
  builder.memory("flash", 0x100, 0x40, R"("hole_is_fill": true)");
  const RegionMap map = builder.parse();
  const std::string records = write_intel_hex({{0x100, counting(0x10)}});
  const auto read = load_read(map, {file("", text_bytes(records))});
  ASSERT_THAT(read, IsOk());
  Image edited = read->image;
  byte_at(edited, 0x120) = 1;
  EXPECT_THAT(render_read(map, *read, edited), FailsWith(Reason::kFormOmits, "flash 0x00000120"));
}

TEST(DeclaredForms, WhatNobodyCanReadIsRefusedAsThat) {
  MapBuilder builder = one();
  builder.add("forms", R"({"name": "locked", "signature": "4c4f434b", "note": "save it unlocked"})");
  const RegionMap map = builder.parse();
  Bytes bytes = counting(0x40);
  EXPECT_THAT(load_read(map, {file("", bytes)}), IsOk());
  bytes[0] = 0x4c, bytes[1] = 0x4f, bytes[2] = 0x43, bytes[3] = 0x4b;
  for (const std::size_t size : {0x40U, 0x30U, 0x100U}) {
    bytes.resize(size);
    const auto refused = load_read(map, {file("flash", bytes)});
    ASSERT_THAT(refused, FailsWith(Reason::kFormOpaque, "offset 0"));
    EXPECT_EQ(refused.error().next, "save it unlocked");
  }
  // Not declared, of no size that fits, and random throughout; the same size without randomness is a size.
  Random random;
  EXPECT_THAT(load_read(map, {file("", random.bytes(0x8000))}), FailsWith(Reason::kFormOpaque));
  EXPECT_THAT(load_read(map, {file("", Bytes(0x8000, 3))}), FailsWith(Reason::kImageSize));
}

TEST(BlankImage, HasTheFillAndKnowsNothing) {
  MapBuilder builder;
  builder.memory("flash", 0x100, 4, R"("fill": "00")").memory("eeprom", 0, 2);
  const Image image = blank_image(builder.parse());
  EXPECT_EQ(image.memories[0].bytes, Bytes(4, 0x00));
  EXPECT_EQ(image.memories[1].bytes, Bytes(2, 0xff));
  EXPECT_TRUE(image.memories[0].known.empty());
}

}  // namespace
}  // namespace calseal
