// Physical values of calibration items: decimal numbers as the region map writes them, exact fractions as a
// conversion gives them, and binary floating point where the image itself holds it.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace calseal {

inline constexpr int kDecimalDigits = 18;  // significant digits, and digits behind the point

// digits / 10^places, exactly.
struct Decimal {
  std::int64_t digits = 0;
  int places = 0;  // 0 to kDecimalDigits
  friend bool operator==(const Decimal&, const Decimal&) = default;
};

// "-12", "0.0625": an optional minus, digits, optionally a point and digits; no exponent, no plus, no
// needless leading zero, no "-0". Nothing for any other text, or for more than kDecimalDigits digits.
std::optional<Decimal> parse_decimal(std::string_view text);

// The inverse, in the same digits.
std::string decimal_text(const Decimal& decimal);

// How a physical value follows from the stored one, after ASAM MCD-2 MC, COMPU_METHOD (from memory of the
// standard):
//   LINEAR    physical = factor * stored + offset                                    COEFFS_LINEAR a b
//   RAT_FUNC  stored = (a*p^2 + b*p + c) / (d*p^2 + e*p + f), p the physical value   COEFFS a b c d e f
// Of the second only what has one inverse, a = d = 0: physical = (c - f * stored) / (e * stored - b).
struct Conversion {
  bool rational = false;
  Decimal factor{1, 0}, offset{0, 0};        // linear
  std::array<Decimal, 4> coefficients = {};  // rational: b, c, e, f
  friend bool operator==(const Conversion&, const Conversion&) = default;
};

// One physical value. Exact for whole stored numbers; a double for stored floating point; undefined where the
// conversion divides by zero or its numbers grow past 127 bits.
class Quantity {
 public:
  __extension__ typedef __int128 Wide;

  Quantity() = default;  // undefined
  static Quantity fraction(Wide numerator, Wide denominator);
  static Quantity floating(double value, bool single);  // not a number and infinities: undefined

  bool is_defined() const { return kind_ != Kind::kUndefined; }
  // Below, equal to, or above a decimal; exact. unordered when undefined.
  std::partial_ordering compare(const Decimal& other) const;
  std::partial_ordering compare(const Quantity& other) const;
  // Exact decimal digits where they end within kDecimalDigits places; else rounded to 6 places behind a "~".
  // Floating: the shortest text that reads back as the same number. "undefined".
  std::string text() const;

  // This one less, plus another; undefined where one of them is, where only one is floating, or where the
  // numbers grow past 127 bits.
  Quantity minus(const Quantity& other) const;
  Quantity plus(const Quantity& other) const;
  Quantity divided_by(std::uint64_t count) const;  // by at least 1

  // Decimals of the exact value; -1 where they do not end within kDecimalDigits places. Floating: those that
  // 7 digits (single) or 15 need, so that binary arithmetic does not show.
  int decimals() const;
  // At most `places` decimals (0 to kDecimalDigits), rounded half away from zero, no zeros at the end. What
  // is floating and tiny or huge, and what does not fit, is as in text().
  std::string rounded_text(int places) const;

 private:
  enum class Kind : std::uint8_t { kUndefined, kFraction, kFloating };
  Quantity combined(const Quantity& other, int sign) const;
  Kind kind_ = Kind::kUndefined;
  Wide numerator_ = 0, denominator_ = 1;  // lowest terms, denominator above 0
  double floating_ = 0;
  bool single_ = false;
};

// A decimal as a physical value.
Quantity quantity_of(const Decimal& decimal);

// The physical value of a whole stored number (-2^31 to 2^32-1 in practice).
Quantity convert(const Conversion& conversion, std::int64_t stored);
// The same of an IEEE 754 number, in double arithmetic.
Quantity convert_floating(const Conversion& conversion, double stored, bool single);

}  // namespace calseal
