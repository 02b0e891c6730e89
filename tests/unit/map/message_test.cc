// What a checksum reads, against the page's definition taken byte by byte.
#include "calseal/map/message.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

const std::string kSlotOfSum = slot_at(0xf0, 4);
constexpr std::string_view kSum32 = R"({"sum": {"unit": 8, "accumulator": 32}})";

Bytes fed(const Message& message, const Image& image) {
  Bytes bytes;
  message.feed(image, [&](ByteView piece) { bytes.insert(bytes.end(), piece.begin(), piece.end()); });
  return bytes;
}

// Bytes, length, reads and offsets are those of the definition.
void expect_as_defined(const RegionMap& map, const Image& image, std::size_t index = 0) {
  const Checksum& checksum = map.checksums[index];
  const auto message = Message::resolve(map, checksum, image);
  ASSERT_THAT(message, IsOk());
  const std::vector<reference::MessageByte> wanted = reference::message_of(checksum, image);
  EXPECT_EQ(fed(*message, image), reference::message_bytes(checksum, image));
  ASSERT_EQ(message->length(), wanted.size());
  std::vector<RangeSet> reads(map.memories.size());
  for (const auto& byte : wanted) {
    if (byte.taken) reads[byte.memory].add({byte.address, byte.address + 1});
  }
  EXPECT_EQ(message->reads(), reads);
  const std::size_t pieces = message->pieces().size();
  EXPECT_THAT(Message::resolve(map, checksum, image, pieces), IsOk());
  EXPECT_THAT(Message::resolve(map, checksum, image, pieces - 1), FailsWith(Reason::kDescriptorInvalid));
  // A memory that holds these bytes alone is enough.
  Image held;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    Memory& memory =
        held.memories.emplace_back(make_unread_memory(map.memories[m].name, map.memories[m].extent));
    memory.hold(reads[m], 0);
    for (const Range& range : reads[m].ranges())
      std::ranges::copy(image.memories[m].view(range), memory.span(range).begin());
  }
  EXPECT_EQ(fed(*message, held), reference::message_bytes(checksum, image));
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    for (std::uint64_t address = map.memories[m].extent.begin; address < map.memories[m].extent.end;
         ++address) {
      std::vector<std::uint64_t> offsets;
      for (std::size_t i = 0; i < wanted.size(); ++i) {
        if (wanted[i].taken && wanted[i].memory == m && wanted[i].address == address) offsets.push_back(i);
      }
      ASSERT_EQ(message->offsets_of(m, address), offsets) << address_text(address);
    }
  }
}

MapBuilder flash() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100);
  return builder;
}

class Swap : public testing::TestWithParam<int> {};

TEST_P(Swap, TakesThePartnerOfEveryAddressAtAnyAlignment) {
  Random random;
  for (std::uint64_t begin = 0x10; begin < 0x15; ++begin) {
    for (std::uint64_t size = 1; size <= 11; ++size) {
      SCOPED_TRACE(std::to_string(begin) + "+" + std::to_string(size));
      const RegionMap map = flash()
                                .checksum("c", kSum32, {range_at(begin, size)}, {kSlotOfSum},
                                          R"("swap": )" + std::to_string(GetParam()))
                                .parse();
      expect_as_defined(map, random_image(map, random));
    }
  }
}

TEST_P(Swap, SubstitutesThePlaceThatIsReadAndNotTheOneNamed) {
  Random random;
  for (std::uint64_t at = 0x20; at < 0x28; ++at) {
    for (std::uint64_t size = 1; size <= 6; ++size) {
      SCOPED_TRACE(std::to_string(at) + "+" + std::to_string(size));
      const RegionMap map = flash()
                                .checksum("c", kSum32, {range_at(0x1d, 0x13)}, {kSlotOfSum},
                                          R"("substitute": [)" + range_at(at, size, R"("as": "5a")") +
                                              R"(], "swap": )" + std::to_string(GetParam()))
                                .parse();
      expect_as_defined(map, random_image(map, random));
    }
  }
}

TEST_P(Swap, LongRunsPassWholeBlocks) {
  Random random;
  MapBuilder builder;
  builder.memory("flash", 0, 0x4000);
  const RegionMap map = builder
                            .checksum("c", kSum32, {range_at(0x0005, 0x3003)}, {slot_at(0x3ff0, 4)},
                                      R"("substitute": [)" + range_at(0x100, 0x1801, R"("as": "11")") +
                                          R"(], "swap": )" + std::to_string(GetParam()))
                            .parse();
  const Image image = random_image(map, random);
  const Message message = Message::resolve(map, map.checksums[0], image).value();
  EXPECT_EQ(fed(message, image), reference::message_bytes(map.checksums[0], image));
}

INSTANTIATE_TEST_SUITE_P(Widths, Swap, testing::Values(16, 32), testing::PrintToStringParamName());

TEST(Message, WritesOutAWord) {
  const RegionMap map =
      flash().checksum("c", kSum32, {range_at(0x11, 5)}, {kSlotOfSum}, R"("swap": 32)").parse();
  Image image = filled_image(map);
  for (std::uint8_t i = 0; i < 0x20; ++i) byte_at(image, i) = i;
  EXPECT_EQ(to_hex(fed(Message::resolve(map, map.checksums[0], image).value(), image)), "1211101716");
}

TEST(Message, LiteralsAreNeitherSwappedNorSubstituted) {
  const RegionMap map =
      flash()
          .checksum("c", kSum32, {R"({"literal": "0102"})", range_at(0, 4), R"({"literal": "03"})"},
                    {kSlotOfSum}, R"("swap": 16, "substitute": [)" + range_at(0, 2, R"("as": "aa")") + "]")
          .parse();
  Image image = filled_image(map);
  put_bytes(image, 0, Bytes{0x10, 0x20, 0x30, 0x40});
  EXPECT_EQ(to_hex(fed(Message::resolve(map, map.checksums[0], image).value(), image)), "0102aaaa403003");
  expect_as_defined(map, image);
}

TEST(Message, KeepsTheOrderOfCoverageAcrossMemoriesAndRepeatsOverlaps) {
  Random random;
  const RegionMap map = flash()
                            .memory("eeprom", 0x10, 0x20)
                            .checksum("c", kSum32,
                                      {range_at(0x40, 4), range_at(0x10, 4, "", "eeprom"), range_at(0x20, 8),
                                       range_at(0x22, 3), range_at(0x40, 4)},
                                      {kSlotOfSum},
                                      R"("substitute": [)" + range_at(0x23, 1, R"("as": "00")") + ", " +
                                          range_at(0x12, 9, R"("as": "ff")", "eeprom") + "]")
                            .parse();
  expect_as_defined(map, random_image(map, random));
}

TEST(Message, SubstitutesMayReachPastTheRangeOnBothSides) {
  Random random;
  const RegionMap map = flash()
                            .checksum("c", kSum32, {range_at(0x20, 8), range_at(0x30, 8)}, {kSlotOfSum},
                                      R"("substitute": [)" + range_at(0x1c, 5, R"("as": "01")") + ", " +
                                          range_at(0x26, 0xb, R"("as": "02")") + "]")
                            .parse();
  expect_as_defined(map, random_image(map, random));
}

// --- tables

constexpr std::uint64_t kTable = 0x80;

std::string table(std::string_view end, std::string_view more = "", std::uint64_t records = 3,
                  std::string_view order = "big") {
  return R"({"table": {"memory": "flash", "at": ")" + address_text(kTable) + R"(", "records": )" +
         std::to_string(records) + R"(, "record_size": 12, "order": ")" + std::string(order) +
         R"(", "start_at": 6, "end_at": 0, "end": ")" + std::string(end) + R"(", "points_into": "flash")" +
         (more.empty() ? "" : ", ") + std::string(more) + "}}";
}

void put_record(Image& image, std::uint64_t record, std::uint32_t start, std::uint32_t second,
                bool big = true) {
  for (std::uint64_t i = 0; i < 4; ++i) {
    const std::uint64_t shift = big ? 8 * (3 - i) : 8 * i;
    byte_at(image, kTable + 12 * record + 6 + i) = static_cast<std::uint8_t>(start >> shift);
    byte_at(image, kTable + 12 * record + i) = static_cast<std::uint8_t>(second >> shift);
  }
}

RegionMap with_table(const std::string& part, std::string_view more = "") {
  return flash().checksum("c", kSum32, {part}, {kSlotOfSum}, more).parse();
}

struct EndRow {
  std::string name;
  std::uint32_t second[3];  // of the ranges 0x10-0x17, 0x40, 0x00-0x0f
};

class TableEnds : public testing::TestWithParam<EndRow> {};

TEST_P(TableEnds, NameTheRanges) {
  Random random;
  for (const bool big : {true, false}) {
    const RegionMap map = with_table(table(GetParam().name, "", 3, big ? "big" : "little"));
    Image image = random_image(map, random);
    put_record(image, 0, 0x10, GetParam().second[0], big);
    put_record(image, 1, 0x40, GetParam().second[1], big);
    put_record(image, 2, 0x00, GetParam().second[2], big);
    expect_as_defined(map, image);
    const Message message = Message::resolve(map, map.checksums[0], image).value();
    EXPECT_EQ(message.length(), 25U);
    RangeSet read(Range{0, 0x18});
    read.add({0x40, 0x41});
    EXPECT_EQ(message.reads()[0], read);
  }
}

INSTANTIATE_TEST_SUITE_P(Kinds, TableEnds,
                         testing::Values(EndRow{"last", {0x17, 0x40, 0x0f}},
                                         EndRow{"after", {0x18, 0x41, 0x10}}, EndRow{"length", {8, 1, 16}}),
                         [](const auto& row) { return row.param.name; });

TEST(Tables, BlankRecordsNameNothingOnlyWhereDeclared) {
  const RegionMap skipping = with_table(table("last", R"("skip_blank": true)"));
  Image image = filled_image(skipping);
  put_record(image, 0, 0x10, 0x17);
  put_record(image, 2, 0x20, 0x20);
  EXPECT_EQ(Message::resolve(skipping, skipping.checksums[0], image).value().length(), 9U);
  const RegionMap strict = with_table(table("last"));
  EXPECT_THAT(Message::resolve(strict, strict.checksums[0], image),
              FailsWith(Reason::kDescriptorInvalid, "record 1"));
  put_record(image, 1, 0xffffffff, 0x17);  // half blank
  EXPECT_THAT(Message::resolve(skipping, skipping.checksums[0], image),
              FailsWith(Reason::kDescriptorInvalid, "record 1"));
}

TEST(Tables, ATableOfBlanksGivesTheEmptyMessage) {
  const RegionMap map = with_table(table("last", R"("skip_blank": true)"));
  const Image image = filled_image(map);
  const Message message = Message::resolve(map, map.checksums[0], image).value();
  EXPECT_EQ(message.length(), 0U);
  EXPECT_EQ(fed(message, image), Bytes{});
}

TEST(Tables, OwnRecordFollowsTheRepetition) {
  const RegionMap map = flash()
                            .checksum("c", kSum32, {table("length", R"("record": "own")")},
                                      {slot_at(0xf0, 4, R"("stride": 4)")}, R"("repeat": 3)")
                            .parse();
  Image image = filled_image(map);
  put_record(image, 0, 0x10, 1);
  put_record(image, 1, 0x20, 2);
  put_record(image, 2, 0x300, 3);  // outside, but only the third reads it
  for (std::size_t i = 0; i < 2; ++i) expect_as_defined(map, image, i);
  EXPECT_EQ(Message::resolve(map, map.checksums[1], image).value().reads()[0], RangeSet(Range{0x20, 0x22}));
  EXPECT_THAT(Message::resolve(map, map.checksums[2], image),
              FailsWith(Reason::kDescriptorInvalid, "record 2"));
}

struct BadRecord {
  std::string end;
  std::uint32_t start, second;
};

TEST(Tables, PointersToNowhereAreRefused) {
  const BadRecord rows[] = {
      {"last", 0x20, 0x1e},         {"last", 0x20, 0x1f},    {"last", 0xf0, 0x100},
      {"last", 0x100, 0x100},       {"after", 0x20, 0x20},   {"after", 0x20, 0x10},
      {"after", 0x20, 0x101},       {"length", 0x20, 0},     {"length", 0xff, 2},
      {"length", 0xffffffff, 0x21}, {"last", 0, 0xffffffff}, {"length", 0, 0xffffffff},
      {"after", 0, 0xffffffff},
  };
  for (const BadRecord& row : rows) {
    const RegionMap map = with_table(table(row.end, "", 1));
    Image image = filled_image(map);
    put_record(image, 0, row.start, row.second);
    EXPECT_THAT(Message::resolve(map, map.checksums[0], image),
                FailsWith(Reason::kDescriptorInvalid, "flash 0x00000086"))
        << row.end << " " << row.start << " " << row.second;
  }
}

TEST(Tables, LastAndLengthReachTheEndOfTheMemory) {
  for (const BadRecord& row :
       {BadRecord{"last", 0, 0xff}, BadRecord{"after", 0, 0x100}, BadRecord{"length", 0, 0x100}}) {
    const RegionMap map = with_table(table(row.end, "", 1));
    Image image = filled_image(map);
    put_record(image, 0, row.start, row.second);
    EXPECT_EQ(Message::resolve(map, map.checksums[0], image).value().length(), 0x100U) << row.end;
  }
}

TEST(Tables, PointersIntoHolesAreRefused) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100,
                 R"("segments": [{"start": "0x00000000", "size": 16}, {"start": "0x00000010", "size": 16},
                    {"start": "0x00000030", "size": 208}])");
  const RegionMap map = builder.checksum("c", kSum32, {table("last", "", 1)}, {kSlotOfSum}).parse();
  Image image = filled_image(map);
  put_record(image, 0, 0x08, 0x1f);  // two segments that touch
  EXPECT_THAT(Message::resolve(map, map.checksums[0], image), IsOk());
  put_record(image, 0, 0x08, 0x20);
  EXPECT_THAT(Message::resolve(map, map.checksums[0], image), FailsWith(Reason::kDescriptorInvalid));
}

TEST(Tables, EverySwappedByteNeedsItsPartner) {
  MapBuilder builder;
  builder.memory("flash", 0, 0xfd);  // the last pair is cut
  const RegionMap map =
      builder.checksum("c", kSum32, {table("last", "", 1)}, {slot_at(0xf0, 4)}, R"("swap": 16)").parse();
  Image image = filled_image(map);
  put_record(image, 0, 0xe0, 0xfb);
  EXPECT_THAT(Message::resolve(map, map.checksums[0], image), IsOk());
  put_record(image, 0, 0xe0, 0xfc);
  EXPECT_THAT(Message::resolve(map, map.checksums[0], image),
              FailsWith(Reason::kDescriptorInvalid, "record 0"));
}

TEST(Tables, UnknownRecordsMakeTheReadIncomplete) {
  const RegionMap map = with_table(table("last", "", 1));
  for (const std::uint64_t at : {0x80, 0x83, 0x86, 0x89}) {
    Image image = filled_image(map);
    put_record(image, 0, 0x10, 0x17);
    forget(image, at, 1);
    EXPECT_THAT(Message::resolve(map, map.checksums[0], image),
                FailsWith(Reason::kReadIncomplete, "record 0"))
        << at;
  }
  Image image = filled_image(map);
  put_record(image, 0, 0x10, 0x17);
  forget(image, 0x84, 2);  // the record's other bytes do not matter
  forget(image, 0x17, 1);  // nor what it names
  const auto message = Message::resolve(map, map.checksums[0], image);
  ASSERT_THAT(message, IsOk());
  EXPECT_FALSE(message->is_known(image));
}

TEST(Tables, EndlessTablesAreRefusedBeforeAnythingIsRead) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x4000000);  // 64 MiB, named 65 times
  const RegionMap map =
      builder
          .checksum(
              "c", kSum32,
              {R"({"table": {"memory": "flash", "at": "0x00000080", "records": 66, "record_size": 8, "order": "big",
                        "start_at": 0, "end_at": 4, "end": "length", "points_into": "flash"}})"},
              {slot_at(0x3fffff0, 4)})
          .parse();
  Image image = filled_image(map);
  for (std::uint64_t i = 0; i < 66; ++i) put_bytes(image, 0x80 + 8 * i, Bytes{0, 0, 0, 0, 4, 0, 0, 0});
  EXPECT_THAT(Message::resolve(map, map.checksums[0], image), FailsWith(Reason::kDescriptorInvalid));
}

TEST(Message, IsKnownLooksOnlyAtBytesTaken) {
  const RegionMap map = flash()
                            .checksum("c", kSum32, {range_at(0x20, 8)}, {kSlotOfSum},
                                      R"("substitute": [)" + range_at(0x22, 2, R"("as": "00")") + "]")
                            .parse();
  Image image = filled_image(map);
  const Message message = Message::resolve(map, map.checksums[0], image).value();
  forget(image, 0x22, 2);
  forget(image, 0x28, 8);
  EXPECT_TRUE(message.is_known(image));
  forget(image, 0x27, 1);
  EXPECT_FALSE(message.is_known(image));
}

}  // namespace
}  // namespace calseal
