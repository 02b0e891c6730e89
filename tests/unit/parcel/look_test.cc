#include "calseal/parcel/look.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/random.h"

namespace calseal {
namespace {

using Codes = std::vector<std::string>;

// Bytes without a pattern.
Bytes noise(std::size_t size, std::uint32_t seed = 1) {
  Bytes bytes(size);
  std::uint32_t state = seed * 2654435761u + 12345;
  for (std::uint8_t& byte : bytes) {
    state = state * 1664525u + 1013904223u;
    byte = static_cast<std::uint8_t>(state >> 24);
  }
  return bytes;
}

Bytes operator+(Bytes a, const Bytes& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

struct Given {
  std::string controller, memory;
  std::uint64_t series;
  Bytes bytes;
};

// The codes of each read.
std::vector<Codes> look(const std::vector<Given>& given, const Sheet* sheet = nullptr) {
  std::vector<ParcelRead> reads;
  std::vector<ByteView> contents;
  for (const Given& one : given) {
    reads.push_back({read_entry_name(reads.size()), one.controller, one.memory, one.series, ""});
    contents.emplace_back(one.bytes);
  }
  std::vector<Codes> codes(given.size());
  for (const ParcelFinding& finding : look_at_reads(reads, contents, sheet)) {
    for (std::size_t i = 0; i < reads.size(); ++i) {
      if (reads[i].entry == finding.entry) codes[i].push_back(finding.code);
    }
  }
  return codes;
}

Codes look(const Bytes& bytes, const Sheet* sheet = nullptr) {
  return look({{"engine", "flash", 1, bytes}}, sheet).front();
}

Sheet sheet_of(std::uint64_t size) {
  Sheet sheet;
  sheet.asked.reads = {{"engine", "engine controller", {{"flash", size}}, false}};
  return sheet;
}

TEST(Look, AReadThatLooksWhole) {
  EXPECT_EQ(look(noise(8192)), Codes());
  const Sheet sheet = sheet_of(8192);
  EXPECT_EQ(look(noise(8192), &sheet), Codes());
}

TEST(Look, Empty) { EXPECT_EQ(look(Bytes()), Codes{"empty"}); }

TEST(Look, SizeIsOfTheSheetsOwnMemoryAndOfRawFiles) {
  const Sheet sheet = sheet_of(8192);
  EXPECT_EQ(look(noise(4096), &sheet), Codes{"size"});
  EXPECT_EQ(look(noise(4095), &sheet), Codes{"size"});  // not also cut off: the sheet says its size
  const Sheet unknown = sheet_of(0);
  EXPECT_EQ(look(noise(4096), &unknown), Codes());
  EXPECT_EQ(look({{"engine", "eeprom", 1, noise(4096)}}, &sheet).front(), Codes());
  EXPECT_EQ(look({{"gearbox", "flash", 1, noise(4096)}}, &sheet).front(), Codes());
  const std::string_view record = ":00000001FF\n";
  EXPECT_EQ(look(Bytes(record.begin(), record.end()), &sheet), Codes());
}

TEST(Look, CutOffWhereNobodySaysASize) {
  EXPECT_EQ(look(noise(8191)), Codes{"cut-off"});
  EXPECT_EQ(look(noise(1024)), Codes());
  EXPECT_EQ(look(noise(1025)), Codes{"cut-off"});
  const std::string_view record = ":00000001FF\n";
  EXPECT_EQ(look(Bytes(record.begin(), record.end())), Codes());
}

TEST(Look, BlankWholeOrInLargePart) {
  EXPECT_EQ(look(Bytes(8192, 0xff)), Codes{"blank"});
  EXPECT_EQ(look(Bytes(8192, 0x00)), Codes{"blank"});
  EXPECT_EQ(look(Bytes(8192, 0x55)), Codes{"repeated"});  // a value that erased memory does not have
  EXPECT_EQ(look(Bytes(1024, 0x55)), Codes{"blank"});     // shorter than a block
  // 15 of 16 blocks are not more than 15/16; 16 of 17 are.
  EXPECT_EQ(look(Bytes(15 * 4096, 0xff) + noise(4096)), Codes());
  EXPECT_EQ(look(Bytes(16 * 4096, 0xff) + noise(4096)), Codes{"blank"});
  // A last block that is not whole does not count.
  EXPECT_EQ(look(Bytes(4096, 0xff) + noise(1024)), Codes{"blank"});
  // Blocks of either value, but none of both.
  EXPECT_EQ(look(Bytes(16 * 4096, 0xff) + Bytes(16 * 4096, 0x00)), Codes{"blank"});
  EXPECT_EQ(look(Bytes(2048, 0xff) + Bytes(2048, 0x00)), Codes());
}

TEST(Look, RepeatedUpTo64Times) {
  const Bytes part = noise(1024);
  Bytes all;
  for (std::size_t parts = 1; parts <= 65; ++parts) {
    all = all + part;
    // 65 = 5 * 13: its 5th part is repeated.
    EXPECT_EQ(look(all), parts == 1 ? Codes() : Codes{"repeated"}) << parts;
  }
  Bytes prime;
  for (int i = 0; i < 67; ++i) prime = prime + part;
  EXPECT_EQ(look(prime), Codes());
  EXPECT_EQ(look(part + part + noise(1024, 2)), Codes());
  // Two blank halves are blank, not repeated.
  EXPECT_EQ(look(Bytes(2 * 4096, 0xff)), Codes{"blank"});
}

TEST(Look, SameAsAReadOfAnotherMemory) {
  const Bytes bytes = noise(4096);
  EXPECT_EQ(look({{"engine", "flash", 1, bytes}, {"engine", "eeprom", 1, bytes}}),
            (std::vector<Codes>{{"same"}, {"same"}}));
  EXPECT_EQ(look({{"engine", "flash", 1, bytes}, {"gearbox", "flash", 1, bytes}}),
            (std::vector<Codes>{{"same"}, {"same"}}));
  EXPECT_EQ(look({{"engine", "flash", 1, bytes}, {"engine", "flash", 2, bytes}}), std::vector<Codes>(2));
  EXPECT_EQ(look({{"engine", "flash", 1, {}}, {"engine", "eeprom", 1, {}}}),
            (std::vector<Codes>{{"empty"}, {"empty"}}));
}

TEST(Look, DiffersFromTheFirstReadOfTheSameMemory) {
  const Bytes first = noise(4096);
  Bytes later = first;
  for (std::size_t i = 0; i < 64; ++i) later[i * 7] ^= 1;  // exactly one in 64
  EXPECT_EQ(look({{"engine", "flash", 1, first}, {"engine", "flash", 2, later}}), std::vector<Codes>(2));
  later[4095] ^= 1;
  EXPECT_EQ(look({{"engine", "flash", 1, first}, {"engine", "flash", 2, later}}),
            (std::vector<Codes>{{}, {"differs"}}));
  EXPECT_EQ(look({{"engine", "flash", 1, first}, {"engine", "flash", 2, noise(2048)}}),
            (std::vector<Codes>{{}, {"differs"}}));
  // With the first read, not with the one before.
  EXPECT_EQ(
      look({{"engine", "flash", 1, first}, {"engine", "flash", 2, later}, {"engine", "flash", 3, later}}),
      (std::vector<Codes>{{}, {"differs"}, {"differs"}}));
  // Nobody said that these are of one memory, so each is a first read.
  EXPECT_EQ(look({{"engine", "", 1, first}, {"engine", "", 1, noise(4096, 2)}}), std::vector<Codes>(2));
}

TEST(Look, CodesOfOneReadAreIndependentAndAscending) {
  const Sheet sheet = sheet_of(8192);
  const Bytes part = noise(1000);
  EXPECT_EQ(
      look({{"engine", "flash", 1, noise(8192)},
            {"engine", "flash", 2, part + part},
            {"engine", "eeprom", 1, part + part}},
           &sheet),
      (std::vector<Codes>{{}, {"differs", "repeated", "same", "size"}, {"cut-off", "repeated", "same"}}));
}

TEST(Look, EveryCodeHasWords) {
  for (const char* code : {"blank", "cut-off", "differs", "empty", "repeated", "same", "size"})
    EXPECT_NE(look_words(code), "") << code;
  EXPECT_EQ(look_words("unheard-of"), "");
}

}  // namespace
}  // namespace calseal
