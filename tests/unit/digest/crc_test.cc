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

TEST(Crc, CombinesWithAnEmptyPart) {
  const Crc crc = named("CRC-12/UMTS");
  const std::uint64_t value = crc.compute(view_of("abc"));
  EXPECT_EQ(crc.combine(value, crc.compute({}), 0), value);
  EXPECT_EQ(crc.combine(crc.compute({}), value, 3), value);
}

}  // namespace
}  // namespace calseal
