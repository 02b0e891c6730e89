#include "calseal/digest/sum.h"

#include <gmock/gmock.h>

#include <functional>
#include <string>

#include "support/matchers.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

struct SumRow {
  std::string source;
  Bytes message;
  SumParameters parameters;
  std::uint64_t sum = 0, ones_complement = 0, twos_complement = 0;
};

void PrintTo(const SumRow& row, std::ostream* out) { *out << row.source << ", unit " << row.parameters.unit; }

SumRow read_sum_row(JsonObject& object) {
  const std::uint64_t any = ~std::uint64_t{0};
  SumRow row;
  row.source = object.text("source");
  row.message = vector_message(object);
  row.parameters.unit = static_cast<int>(object.integer("unit", 8, 64));
  row.parameters.order =
      object.choice("order", {"little", "big"}) == 0 ? ByteOrder::kLittle : ByteOrder::kBig;
  row.parameters.operation =
      static_cast<SumOperation>(object.choice("operation", {"add", "add-end-around", "xor"}));
  row.parameters.accumulator = static_cast<int>(object.integer("accumulator", 8, 64));
  row.sum = object.number("sum", 0, any);
  row.ones_complement = object.number("ones_complement", 0, any);
  row.twos_complement = object.number("twos_complement", 0, any);
  return row;
}

class PublishedSum : public ::testing::TestWithParam<SumRow> {};

TEST_P(PublishedSum, GivesThePublishedValues) {
  const SumRow& row = GetParam();
  ASSERT_THAT(validate_sum(row.parameters), IsOk());
  Sum sum(row.parameters);
  sum.update(row.message);
  EXPECT_EQ(sum.value(), row.sum);
  EXPECT_EQ(ones_complement(sum.value(), row.parameters.accumulator), row.ones_complement);
  EXPECT_EQ(twos_complement(sum.value(), row.parameters.accumulator), row.twos_complement);
}

INSTANTIATE_TEST_SUITE_P(Vectors, PublishedSum,
                         ::testing::ValuesIn(vector_rows<SumRow>("sums.json", "rows", read_sum_row)));

TEST(Sum, VerifiesOverDataAndItsInternetChecksum) {
  // RFC 1071: with the complement in place the sum is all ones.
  Sum sum({16, ByteOrder::kBig, SumOperation::kAddEndAround, 16, 0});
  sum.update(Bytes{0x00, 0x01, 0xf2, 0x03, 0xf4, 0xf5, 0xf6, 0xf7, 0x22, 0x0d});
  EXPECT_EQ(sum.value(), 0xffffU);
}

TEST(Sum, AskingForTheValueInTheMiddleChangesNothing) {
  Sum sum({32, ByteOrder::kBig, SumOperation::kAdd, 32, 0});
  sum.update(Bytes{0x01, 0x02, 0x03});
  EXPECT_EQ(sum.value(), 0x01020300U);
  EXPECT_EQ(sum.value(), 0x01020300U);
  sum.update(Bytes{0x04});
  EXPECT_EQ(sum.value(), 0x01020304U);
}

TEST(Sum, CarriesOutOfTheWidestAccumulator) {
  const Bytes two_words = {0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 2, 0, 0, 0, 0, 0, 0, 0};
  Sum plain({64, ByteOrder::kLittle, SumOperation::kAdd, 64, 0});
  plain.update(two_words);
  EXPECT_EQ(plain.value(), 1U);
  Sum around({64, ByteOrder::kLittle, SumOperation::kAddEndAround, 64, 0});
  around.update(two_words);
  EXPECT_EQ(around.value(), 2U);
}

TEST(ValidateSum, NamesTheParameterThatIsWrong) {
  const auto check = [](int unit, SumOperation operation, int accumulator, std::uint64_t init) {
    return validate_sum({unit, ByteOrder::kLittle, operation, accumulator, init});
  };
  EXPECT_THAT(check(24, SumOperation::kAdd, 32, 0), FailsWith(Reason::kMapChecksum, "unit"));
  EXPECT_THAT(check(0, SumOperation::kAdd, 32, 0), FailsWith(Reason::kMapChecksum, "unit"));
  EXPECT_THAT(check(8, SumOperation::kAdd, 7, 0), FailsWith(Reason::kMapChecksum, "accumulator"));
  EXPECT_THAT(check(8, SumOperation::kAdd, 65, 0), FailsWith(Reason::kMapChecksum, "accumulator"));
  EXPECT_THAT(check(32, SumOperation::kXor, 16, 0), FailsWith(Reason::kMapChecksum, "accumulator"));
  EXPECT_THAT(check(8, SumOperation::kAdd, 8, 0x100), FailsWith(Reason::kMapChecksum, "init"));
  EXPECT_THAT(check(32, SumOperation::kAdd, 16, 0xffff), IsOk());
  EXPECT_THAT(check(64, SumOperation::kXor, 64, ~std::uint64_t{0}), IsOk());
}

struct FletcherRow {
  Bytes message;
  std::uint64_t fletcher16 = 0, fletcher32 = 0;
};

void PrintTo(const FletcherRow& row, std::ostream* out) { *out << row.message.size() << " bytes"; }

FletcherRow read_fletcher_row(JsonObject& object) {
  FletcherRow row{vector_message(object), object.number("fletcher16", 0, 0xffff),
                  object.number("fletcher32", 0, 0xffffffff)};
  object.boolean("derived");
  return row;
}

class PublishedFletcher : public ::testing::TestWithParam<FletcherRow> {};

TEST_P(PublishedFletcher, GivesThePublishedValues) {
  Fletcher narrow(16, ByteOrder::kLittle);
  narrow.update(GetParam().message);
  EXPECT_EQ(narrow.value(), GetParam().fletcher16);
  Fletcher wide(32, ByteOrder::kLittle);
  wide.update(GetParam().message);
  EXPECT_EQ(wide.value(), GetParam().fletcher32);
}

INSTANTIATE_TEST_SUITE_P(Vectors, PublishedFletcher,
                         ::testing::ValuesIn(vector_rows<FletcherRow>("fletcher.json", "rows",
                                                                      read_fletcher_row)));

TEST(Fletcher, ReadsBigEndianWordsWhenAsked) {
  Fletcher big(32, ByteOrder::kBig);
  big.update(Bytes{0x01, 0x02, 0x03});
  EXPECT_EQ(big.value(), (0x0504U << 16) | 0x0402U);  // words 0102 and 0300: sums 0402, and 0102 + 0402
}

struct AdlerRow {
  Bytes message;
  std::uint64_t adler32 = 0;
};

void PrintTo(const AdlerRow& row, std::ostream* out) { *out << row.message.size() << " bytes"; }

class PublishedAdler : public ::testing::TestWithParam<AdlerRow> {};

TEST_P(PublishedAdler, GivesThePublishedValue) {
  EXPECT_EQ(update_adler32(1, GetParam().message), GetParam().adler32);
}

INSTANTIATE_TEST_SUITE_P(
    Vectors, PublishedAdler,
    ::testing::ValuesIn(vector_rows<AdlerRow>("adler32.json", "rows", [](JsonObject& object) {
      return AdlerRow{vector_message(object), object.number("adler32", 0, 0xffffffff)};
    })));

TEST(Adler32, NothingMoreKeepsTheState) { EXPECT_EQ(update_adler32(0x12345678, {}), 0x12345678U); }

TEST(LowMask, CoversEveryWidth) {
  EXPECT_EQ(low_mask(0), 0U);
  EXPECT_EQ(low_mask(1), 1U);
  EXPECT_EQ(low_mask(63), ~std::uint64_t{0} >> 1);
  EXPECT_EQ(low_mask(64), ~std::uint64_t{0});
}

TEST(Complement, StaysWithinItsWidth) {
  EXPECT_EQ(ones_complement(0x1234, 8), 0xcbU);
  EXPECT_EQ(twos_complement(0x1234, 8), 0xccU);
  EXPECT_EQ(twos_complement(0, 16), 0U);
  EXPECT_EQ(ones_complement(0, 64), ~std::uint64_t{0});
  EXPECT_EQ(twos_complement(1, 64), ~std::uint64_t{0});
}

// Every split of a short text into three pieces, by a function that runs all three and returns the value.
void expect_same_for_every_split(const std::function<std::uint64_t(ByteView, ByteView, ByteView)>& run) {
  const ByteView data = view_of("twenty-three odd bytes!");
  const std::uint64_t whole = run(data, {}, {});
  for (std::size_t first = 0; first <= data.size(); ++first) {
    for (std::size_t second = first; second <= data.size(); ++second) {
      ASSERT_EQ(run(data.first(first), data.subspan(first, second - first), data.subspan(second)), whole)
          << first << " " << second;
    }
  }
}

TEST(Split, SumsDoNotDependOnIt) {
  for (const int unit : {8, 16, 32, 64}) {
    for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
      for (const SumOperation operation :
           {SumOperation::kAdd, SumOperation::kAddEndAround, SumOperation::kXor}) {
        expect_same_for_every_split([&](ByteView a, ByteView b, ByteView c) {
          Sum sum({unit, order, operation, 64, 5});
          for (const ByteView piece : {a, b, c}) sum.update(piece);
          return sum.value();
        });
      }
    }
  }
}

TEST(Split, FletcherAndAdlerDoNotDependOnIt) {
  for (const int width : {16, 32}) {
    for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
      expect_same_for_every_split([&](ByteView a, ByteView b, ByteView c) {
        Fletcher fletcher(width, order);
        for (const ByteView piece : {a, b, c}) fletcher.update(piece);
        return fletcher.value();
      });
    }
  }
  expect_same_for_every_split([](ByteView a, ByteView b, ByteView c) {
    return update_adler32(update_adler32(update_adler32(1, a), b), c);
  });
}

}  // namespace
}  // namespace calseal
