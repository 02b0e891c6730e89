#include "calseal/digest/crc.h"

#include <gmock/gmock.h>

#include <string>
#include <vector>

#include "calseal/digest/catalogue.h"
#include "support/crc_vectors.h"
#include "support/matchers.h"

namespace calseal {
namespace {

Crc named(std::string_view name) { return Crc(*parameters_of(*find_catalogue_entry(name))); }

std::vector<CatalogueRow> rows_up_to_64_bits() {
  std::vector<CatalogueRow> rows;
  for (const CatalogueRow& row : catalogue_rows()) {
    if (row.width <= 64) rows.push_back(row);
  }
  return rows;
}

class CrcCatalogue : public ::testing::TestWithParam<CatalogueRow> {
 protected:
  CrcCatalogue() : crc_(named(GetParam().name)) {}
  const CatalogueRow& row_ = GetParam();
  Crc crc_;
};

TEST_P(CrcCatalogue, PublishedValues) {
  Bytes counting(256);
  for (std::size_t i = 0; i < counting.size(); ++i) counting[i] = static_cast<std::uint8_t>(i);
  EXPECT_EQ(crc_.compute(view_of("123456789")), row_.check.low);
  EXPECT_EQ(crc_.residue(), row_.residue.low);
  EXPECT_EQ(crc_.compute({}), row_.empty.low);
  EXPECT_EQ(crc_.compute(Bytes(1, 0x00)), row_.one_zero_byte.low);
  EXPECT_EQ(crc_.compute(counting), row_.bytes_00_to_ff.low);
  EXPECT_EQ(crc_.compute(Bytes(32, 0xff)), row_.bytes_ff_32.low);
}

TEST_P(CrcCatalogue, PublishedCodewordsLeaveTheResidue) {
  for (const Bytes& codeword : row_.codewords) {
    EXPECT_EQ(crc_.compute(codeword) ^ row_.xorout.low, row_.residue.low);
  }
}

TEST_P(CrcCatalogue, EverySplitIntoThreePiecesGivesTheSameValue) {
  const ByteView data = view_of("The bytes of one short line, some 50 of them here.");
  const std::uint64_t whole = crc_.compute(data);
  for (std::size_t first = 0; first <= data.size(); ++first) {
    for (std::size_t second = first; second <= data.size(); ++second) {
      std::uint64_t state = crc_.update(crc_.start(), data.first(first));
      state = crc_.update(state, data.subspan(first, second - first));
      state = crc_.update(state, data.subspan(second));
      ASSERT_EQ(crc_.finish(state), whole) << first << " " << second;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Published, CrcCatalogue, ::testing::ValuesIn(rows_up_to_64_bits()),
                         [](const auto& row) { return test_name(row.param.name); });

TEST(Crc, CodewordsArePublishedForManyAlgorithms) {
  std::size_t codewords = 0;
  for (const CatalogueRow& row : rows_up_to_64_bits()) codewords += row.codewords.size();
  EXPECT_EQ(codewords, 202U);
}

struct MessageRow {
  std::string algorithm;
  Bytes message;
  std::uint64_t crc = 0;
};

void PrintTo(const MessageRow& row, std::ostream* out) {
  *out << row.algorithm << ", " << row.message.size() << " B";
}

MessageRow read_message_row(JsonObject& object) {
  return {object.text("algorithm"), vector_message(object), object.number("crc", 0, ~std::uint64_t{0})};
}

class CrcMessage : public ::testing::TestWithParam<MessageRow> {};

TEST_P(CrcMessage, GivesThePublishedValue) {
  EXPECT_EQ(named(GetParam().algorithm).compute(GetParam().message), GetParam().crc);
}

INSTANTIATE_TEST_SUITE_P(Autosar, CrcMessage,
                         ::testing::ValuesIn(vector_rows<MessageRow>("crc_messages.json", "rows",
                                                                     read_message_row)));
INSTANTIATE_TEST_SUITE_P(Rfc3720, CrcMessage,
                         ::testing::ValuesIn(vector_rows<MessageRow>("crc32c.json", "rows",
                                                                     read_message_row)));

TEST(ValidateCrc, AcceptsTheNarrowestAndTheWidest) {
  EXPECT_THAT(validate_crc({3, 0x3, 0x7, false, true, 0x7}), IsOk());
  const std::uint64_t all = ~std::uint64_t{0};
  EXPECT_THAT(validate_crc({64, all, all, true, false, all}), IsOk());
}

TEST(ValidateCrc, NamesTheParameterThatIsWrong) {
  EXPECT_THAT(validate_crc({2, 0x3, 0, false, false, 0}), FailsWith(Reason::kMapChecksum, "width"));
  EXPECT_THAT(validate_crc({65, 0x3, 0, false, false, 0}), FailsWith(Reason::kMapChecksum, "width"));
  EXPECT_THAT(validate_crc({-1, 0x3, 0, false, false, 0}), FailsWith(Reason::kMapChecksum, "width"));
  EXPECT_THAT(validate_crc({16, 0x1020, 0, false, false, 0}), FailsWith(Reason::kMapChecksum, "poly"));
  EXPECT_THAT(validate_crc({16, 0, 0, false, false, 0}), FailsWith(Reason::kMapChecksum, "poly"));
  EXPECT_THAT(validate_crc({16, 0x11021, 0, false, false, 0}), FailsWith(Reason::kMapChecksum, "poly"));
  EXPECT_THAT(validate_crc({16, 0x1021, 0x10000, false, false, 0}), FailsWith(Reason::kMapChecksum, "init"));
  EXPECT_THAT(validate_crc({16, 0x1021, 0, false, false, 0x10000}),
              FailsWith(Reason::kMapChecksum, "xorout"));
}

TEST(Crc, RepeatingNothingChangesNothing) {
  const Crc crc = named("CRC-32/ISO-HDLC");
  const std::uint64_t state = crc.update(crc.start(), view_of("abc"));
  EXPECT_EQ(crc.update_repeated(state, 0xff, 0), state);
}

TEST(Crc, RepeatsMoreBytesThanAnyMemoryHolds) {
  // The order of x modulo a primitive polynomial of degree 32 divides 2^32 - 1; that of CRC-32 is primitive.
  const Crc crc = named("CRC-32/ISO-HDLC");
  const std::uint64_t state = crc.update(crc.start(), view_of("abc"));
  EXPECT_EQ(crc.update_repeated(state, 0x00, 0xffffffffU), state);
  EXPECT_EQ(crc.update_repeated(state, 0x00, ~std::uint64_t{0}), state);
}

TEST(Crc, CombinesWithAnEmptyPart) {
  const Crc crc = named("CRC-12/UMTS");
  const std::uint64_t value = crc.compute(view_of("abc"));
  EXPECT_EQ(crc.combine(value, crc.compute({}), 0), value);
  EXPECT_EQ(crc.combine(crc.compute({}), value, 3), value);
}

TEST(Crc, PatchOfNothingIsTheSameValue) {
  const Crc crc = named("CRC-16/KERMIT");
  EXPECT_EQ(crc.patch(0x1234, 100, {}), 0x1234U);
  const Bytes byte = {0x5a};
  EXPECT_EQ(crc.patch(0x1234, 100, {CrcChange{99, byte, byte}}), 0x1234U);
}

TEST(ForceCrc, LeavesTheBytesAloneWhenTheValueIsRightAlready) {
  const Crc crc = named("CRC-32/ISO-HDLC");
  EXPECT_THAT(force_crc(crc, 100, {10, 11}, 0x1234, 0x1234), IsOkAnd(::testing::ElementsAre(0, 0)));
  EXPECT_THAT(force_crc(crc, 100, {}, 0x1234, 0x1234), IsOkAnd(::testing::IsEmpty()));
}

TEST(ForceCrc, RefusesWhatThePlacesCannotReach) {
  const Crc crc = named("CRC-32/ISO-HDLC");
  const Bytes message(100, 0xff);
  const std::uint64_t now = crc.compute(message);
  EXPECT_THAT(force_crc(crc, 100, {}, now, now ^ 1U), FailsWith(Reason::kMapUnsolvable));
  // Three bytes reach 2^24 of 2^32 values: what four bytes need in their last byte, three cannot give.
  const Result<Bytes> four =
      force_crc(crc, 100, {40, 41, 42, 43}, now, crc.compute(view_of("another value")));
  ASSERT_THAT(four, IsOk());
  ASSERT_NE(four->back(), 0);
  EXPECT_THAT(force_crc(crc, 100, {40, 41, 42}, now, crc.compute(view_of("another value"))),
              FailsWith(Reason::kMapUnsolvable));
  // One place named often is still one place.
  EXPECT_THAT(force_crc(crc, 100, std::vector<std::uint64_t>(40, 7), now, now ^ 1U),
              FailsWith(Reason::kMapUnsolvable));
}

TEST(ForceCrc, RefusesAValueWiderThanTheCrc) {
  EXPECT_THAT(force_crc(named("CRC-16/ARC"), 10, {0, 1, 2}, 0, 0x10000), FailsWith(Reason::kMapUnsolvable));
}

TEST(ForceCrc, PrefersTheFirstPlaces) {
  const Crc crc = named("CRC-16/XMODEM");
  const Result<Bytes> xors = force_crc(crc, 50, {3, 4, 20, 21, 22, 40}, 0, 0xbeef);
  ASSERT_THAT(xors, IsOk());
  EXPECT_THAT(Bytes(xors->begin() + 2, xors->end()), ::testing::Each(0));
}

TEST(ForceCrc, FindsPlacesFarDownTheList) {
  const Crc crc = named("CRC-64/XZ");
  std::vector<std::uint64_t> places(70, 0);  // one byte, named 70 times, then the eight that matter
  for (std::uint64_t i = 0; i < 8; ++i) places.push_back(100 + i);
  Bytes message(200, 0x11);
  const Result<Bytes> xors = force_crc(crc, 200, places, crc.compute(message), 0x0123456789abcdefU);
  ASSERT_THAT(xors, IsOk());
  for (std::size_t i = 0; i < places.size(); ++i) message[places[i]] ^= (*xors)[i];
  EXPECT_EQ(crc.compute(message), 0x0123456789abcdefU);
}

}  // namespace
}  // namespace calseal
