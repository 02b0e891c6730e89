// Decimals, conversions and their texts. The worked examples follow ASAM MCD-2 MC, COMPU_METHOD RAT_FUNC and
// LINEAR (from memory of the standard, computed by hand); floating point after IEEE 754, values from its
// binary32 format.
#include "calseal/map/quantity.h"

#include <gtest/gtest.h>

#include <bit>
#include <cmath>
#include <limits>

#include "support/random.h"

namespace calseal {
namespace {

Decimal dec(std::string_view text) { return parse_decimal(text).value(); }

Conversion linear(std::string_view factor, std::string_view offset) {
  Conversion conversion;
  conversion.factor = dec(factor);
  conversion.offset = dec(offset);
  return conversion;
}

Conversion rational(std::string_view b, std::string_view c, std::string_view e, std::string_view f) {
  Conversion conversion;
  conversion.rational = true;
  conversion.coefficients = {dec(b), dec(c), dec(e), dec(f)};
  return conversion;
}

TEST(Decimals, AreExactlyWhatIsWritten) {
  EXPECT_EQ(dec("0"), (Decimal{0, 0}));
  EXPECT_EQ(dec("-12"), (Decimal{-12, 0}));
  EXPECT_EQ(dec("0.0625"), (Decimal{625, 4}));
  EXPECT_EQ(dec("-0.5"), (Decimal{-5, 1}));
  EXPECT_EQ(dec("999999999999999999"), (Decimal{999999999999999999, 0}));
}

TEST(Decimals, OtherTextsAreNone) {
  for (const char* text : {"", "-", "+1", "01", "-01", ".5", "5.", "1e3", "-0", "-0.0", "0x10", " 1", "1 ",
                           "1,5", "NaN", "1000000000000000000", "0.0000000000000000001"})
    EXPECT_FALSE(parse_decimal(text)) << text;
}

TEST(Conversions, LinearWorkedExamples) {
  EXPECT_EQ(convert(linear("0.25", "0"), 3200).text(), "800");
  EXPECT_EQ(convert(linear("0.0625", "-40"), 2048).text(), "88");
  EXPECT_EQ(convert(linear("0.1", "0"), 3).text(), "0.3");  // 0.30000000000000004 in binary64
  EXPECT_EQ(convert(linear("-1", "0.5"), 1).text(), "-0.5");
  EXPECT_EQ(convert(linear("1", "0"), -32768).text(), "-32768");
}

TEST(Conversions, RationalRunsFromPhysicalToStored) {
  // stored = 16 p + 640, so p = (stored - 640) / 16: the same as factor 0.0625, offset -40.
  const Conversion up = rational("16", "640", "0", "1");
  EXPECT_EQ(convert(up, 2048).text(), "88");
  for (std::int64_t stored = -300; stored <= 300; ++stored)
    EXPECT_EQ(convert(up, stored).compare(convert(linear("0.0625", "-40"), stored)),
              std::partial_ordering::equivalent);
  // stored = 1000000 / p: a period as a speed.
  const Conversion period = rational("0", "1000000", "1", "0");
  EXPECT_EQ(convert(period, 500).text(), "2000");
  EXPECT_FALSE(convert(period, 0).is_defined());
  EXPECT_EQ(convert(period, 0).text(), "undefined");
  // stored = 4 p / 3: digits that do not end are marked.
  EXPECT_EQ(convert(rational("4", "0", "0", "3"), 1).text(), "0.75");
  EXPECT_EQ(convert(rational("3", "0", "0", "1"), 1).text().front(), '~');
}

TEST(Conversions, LimitsAreComparedWithoutRounding) {
  const Conversion third = rational("3", "0", "0", "1");
  EXPECT_EQ(convert(third, 1).compare(dec("0.333333333333333333")), std::partial_ordering::greater);
  EXPECT_EQ(convert(third, 1).compare(dec("0.333333333333333334")), std::partial_ordering::less);
  EXPECT_EQ(convert(third, 3).compare(dec("1")), std::partial_ordering::equivalent);
}

TEST(Conversions, FloatingPointIsReadAsItIs) {
  const Conversion none;
  const auto single = [&](std::uint32_t bits) {
    return convert_floating(none, static_cast<double>(std::bit_cast<float>(bits)), true);
  };
  EXPECT_EQ(single(0x3f800000).text(), "1");
  EXPECT_EQ(single(0x3dcccccd).text(), "0.1");
  EXPECT_EQ(single(0xc2280000).text(), "-42");
  EXPECT_FALSE(single(0x7f800000).is_defined());                                    // infinity
  EXPECT_FALSE(single(0x7fc00000).is_defined());                                    // not a number
  EXPECT_EQ(single(0x00000001).compare(dec("0")), std::partial_ordering::greater);  // the least subnormal
}

// Against long division with doubles where these are exact: factors with a power of two below.
TEST(Conversions, AgreeWithExactDoubles) {
  Random random;
  for (int round = 0; round < 2000; ++round) {
    const int places = static_cast<int>(random.between(0, 6));
    const std::int64_t numerator =
        static_cast<std::int64_t>(random.between(1, 4096)) * (random.coin() ? 1 : -1);
    const double factor = std::ldexp(static_cast<double>(numerator), -places);
    // n / 2^k = n * 5^k / 10^k
    std::int64_t digits = numerator;
    for (int i = 0; i < places; ++i) digits *= 5;
    Conversion conversion;
    conversion.factor = {digits, places};
    conversion.offset = {static_cast<std::int64_t>(random.between(0, 1000)) - 500, 0};
    const auto stored = static_cast<std::int64_t>(random.between(0, 0xffffffff)) - 0x80000000LL;
    const double wanted =
        factor * static_cast<double>(stored) + static_cast<double>(conversion.offset.digits);
    EXPECT_EQ(std::stod(convert(conversion, stored).text()), wanted);
  }
}

// Numbers of more than 64 bits go another way than smaller ones; both must say the same.
TEST(Quantities, LargeNumbersCompareAsSmallOnes) {
  Random random;
  const auto number = [&] { return static_cast<std::int64_t>(random.between(1, (1U << 30) - 1)); };
  constexpr Quantity::Wide kLarge = Quantity::Wide{1} << 60;
  for (int round = 0; round < 2000; ++round) {
    const std::int64_t a = number() * (random.coin() ? 1 : -1), b = number(), d = number();
    const std::int64_t c = random.between(0, 3) == 0 ? a : number();
    const std::int64_t under = c == a ? b : d;
    // Above a / b by 1 / (2^60 b), which is less than any two different fractions of 30 bits lie apart.
    const Quantity little_more = Quantity::fraction(a * kLarge + 1, b * kLarge);
    const Quantity other = Quantity::fraction(c, under);
    const bool above = a * under >= c * b;
    EXPECT_EQ(little_more.compare(other),
              above ? std::partial_ordering::greater : std::partial_ordering::less)
        << a << "/" << b << " " << c << "/" << under;
    EXPECT_EQ(Quantity::fraction(a * kLarge, b * kLarge).compare(Quantity::fraction(a, b)),
              std::partial_ordering::equivalent);
    EXPECT_EQ(Quantity::fraction(a * kLarge, b * kLarge).text(), Quantity::fraction(a, b).text());
  }
}

TEST(Quantities, LargeNumbersInFull) {
  constexpr Quantity::Wide kLarge = Quantity::Wide{1} << 100;
  EXPECT_EQ(Quantity::fraction(kLarge, 1).text(), "1267650600228229401496703205376");
  EXPECT_EQ(Quantity::fraction(-kLarge, 1).text(), "-1267650600228229401496703205376");
  EXPECT_EQ(Quantity::fraction(1 - 4 * kLarge, 4).text(), "-1267650600228229401496703205375.75");
  constexpr std::int64_t kQuintillion = 1'000'000'000'000'000'000;
  EXPECT_EQ(Quantity::fraction(999'999'999'999'999'999, kQuintillion).text(), "0.999999999999999999");
  EXPECT_EQ(Quantity::fraction(-kQuintillion - 1, kQuintillion).text(), "-1.000000000000000001");
  EXPECT_EQ(Quantity::fraction(std::numeric_limits<std::int64_t>::min(), 1).text(), "-9223372036854775808");
}

}  // namespace
}  // namespace calseal
