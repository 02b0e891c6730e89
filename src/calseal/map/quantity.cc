#include "calseal/map/quantity.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <numeric>

namespace calseal {
namespace {

using Wide = Quantity::Wide;

constexpr int kRoundedPlaces = 6;

Wide power_of_ten(int exponent) {
  Wide power = 1;
  for (int i = 0; i < exponent; ++i) power *= 10;
  return power;
}

Wide magnitude(Wide value) { return value < 0 ? -value : value; }

// Dividing 128 bits is a call of the library, so what has fewer is worked on as what it is.
bool fits_64(Wide value) {
  return value >= std::numeric_limits<std::int64_t>::min() &&
         value <= std::numeric_limits<std::int64_t>::max();
}

Wide greatest_common_divisor(Wide a, Wide b) {
  a = magnitude(a);
  b = magnitude(b);
  while (b != 0) {
    if (b == 1) return 1;
    if (fits_64(a) && fits_64(b)) return std::gcd(static_cast<std::int64_t>(a), static_cast<std::int64_t>(b));
    const Wide rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

struct Fraction {
  Wide over, under;  // under above 0
};

Fraction fraction_of(const Decimal& decimal) { return {decimal.digits, power_of_ten(decimal.places)}; }

Wide floor_of(const Fraction& value) {
  const Wide quotient = value.over / value.under;
  return value.over % value.under < 0 ? quotient - 1 : quotient;
}

// Across where the products fit, else by continued fractions, in which nothing is multiplied.
std::strong_ordering compare_fractions(Fraction a, Fraction b) {
  if (fits_64(a.over) && fits_64(a.under) && fits_64(b.over) && fits_64(b.under)) {
    const Wide left = a.over * b.under, right = b.over * a.under;
    return left < right   ? std::strong_ordering::less
           : left > right ? std::strong_ordering::greater
                          : std::strong_ordering::equal;
  }
  for (;;) {
    const Wide whole_a = floor_of(a);
    const Wide whole_b = floor_of(b);
    if (whole_a != whole_b)
      return whole_a < whole_b ? std::strong_ordering::less : std::strong_ordering::greater;
    const Wide rest_a = a.over - whole_a * a.under;
    const Wide rest_b = b.over - whole_b * b.under;
    if (rest_a == 0 || rest_b == 0) {
      if (rest_a == rest_b) return std::strong_ordering::equal;
      return rest_a == 0 ? std::strong_ordering::less : std::strong_ordering::greater;
    }
    // rest_a / a.under < rest_b / b.under exactly when b.under / rest_b < a.under / rest_a.
    const Fraction next_a{b.under, rest_b};
    b = {a.under, rest_a};
    a = next_a;
  }
}

double double_of(const Decimal& decimal) {
  return static_cast<double>(decimal.digits) / static_cast<double>(power_of_ten(decimal.places));
}

// digits * stored at a common number of places, or nothing when that is too large.
bool add_scaled(const Decimal& decimal, Wide stored, int places, Wide& sum) {
  Wide product = 0;
  return !__builtin_mul_overflow(Wide{decimal.digits}, stored, &product) &&
         !__builtin_mul_overflow(product, power_of_ten(places - decimal.places), &product) &&
         !__builtin_add_overflow(sum, product, &sum);
}

// Without its sign.
std::string whole_text(Wide value) {
  value = magnitude(value);
  if (fits_64(value)) return std::to_string(static_cast<std::int64_t>(value));
  std::string text;
  for (Wide rest = value; rest != 0; rest /= 10)
    text.insert(text.begin(), static_cast<char>('0' + static_cast<int>(rest % 10)));
  return text;
}

// Digits of rest / under behind the point, rest below under; whether they end.
template <typename Integer>
bool add_digits(Integer rest, Integer under, std::string& digits) {
  for (int place = 0; rest != 0 && place < kDecimalDigits; ++place) {
    if (__builtin_mul_overflow(rest, Integer{10}, &rest)) return false;
    digits += static_cast<char>('0' + static_cast<int>(rest / under));
    rest %= under;
  }
  return rest == 0;
}

std::string fraction_text(Wide over, Wide under) {
  const bool negative = over < 0;
  over = magnitude(over);
  const std::string sign = negative ? "-" : "";
  const Wide rest = over % under;
  std::string digits;
  constexpr std::int64_t kMost = std::numeric_limits<std::int64_t>::max() / 10;  // ten times that fits too
  const bool ends =
      under <= kMost ? add_digits(static_cast<std::int64_t>(rest), static_cast<std::int64_t>(under), digits)
                     : add_digits(rest, under, digits);
  if (ends) return sign + whole_text(over / under) + (digits.empty() ? "" : "." + digits);
  // It does not end: rounded, half away from zero, and marked.
  digits.resize(kRoundedPlaces + 1, '0');
  Wide rounded = over / under;
  for (int i = 0; i < kRoundedPlaces; ++i) {
    if (__builtin_mul_overflow(rounded, Wide{10}, &rounded)) return "~" + sign + whole_text(over / under);
    rounded += digits[static_cast<std::size_t>(i)] - '0';
  }
  if (digits.back() >= '5') ++rounded;
  std::string shown = whole_text(rounded % power_of_ten(kRoundedPlaces));
  shown.insert(0, kRoundedPlaces - shown.size(), '0');
  return "~" + sign + whole_text(rounded / power_of_ten(kRoundedPlaces)) + "." + shown;
}

// "1234.500" as "1234.5", "-0.0" as "0".
std::string without_needless_zeros(std::string text) {
  if (text.find('.') != std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
  }
  return text == "-0" ? "0" : text;
}

// One more in the last place of decimal digits, which may hold a point.
std::string counted_up(std::string digits) {
  for (std::size_t at = digits.size(); at-- > 0;) {
    if (digits[at] == '.') continue;
    if (digits[at] != '9') {
      ++digits[at];
      return digits;
    }
    digits[at] = '0';
  }
  return "1" + digits;
}

// Exactly `places` decimals; nothing where the numbers grow too large for that.
std::optional<std::string> fixed_text(Wide over, Wide under, int places) {
  const std::string sign = over < 0 ? "-" : "";
  over = magnitude(over);
  std::string text = whole_text(over / under) + ".";
  Wide rest = over % under;
  for (int place = 0; place <= places; ++place) {
    if (__builtin_mul_overflow(rest, Wide{10}, &rest)) return std::nullopt;
    text += static_cast<char>('0' + static_cast<int>(rest / under));
    rest %= under;
  }
  const bool up = text.back() >= '5';
  text.pop_back();
  return sign + (up ? counted_up(std::move(text)) : text);
}

// A floating number that people write with digits and a point alone.
bool is_plain(double value) { return value == 0 || (std::abs(value) >= 1e-6 && std::abs(value) < 1e15); }

}  // namespace

std::optional<Decimal> parse_decimal(std::string_view text) {
  const bool negative = text.starts_with('-');
  if (negative) text.remove_prefix(1);
  const std::size_t point = text.find('.');
  const std::string_view whole = text.substr(0, point);
  const std::string_view behind = point == std::string_view::npos ? "" : text.substr(point + 1);
  if (whole.empty() || (whole.size() > 1 && whole.front() == '0')) return std::nullopt;
  if (point != std::string_view::npos && behind.empty()) return std::nullopt;
  if (behind.size() > kDecimalDigits) return std::nullopt;
  Decimal decimal{0, static_cast<int>(behind.size())};
  int significant = 0;
  for (const std::string_view part : {whole, behind}) {
    for (const char c : part) {
      if (c < '0' || c > '9') return std::nullopt;
      if (decimal.digits != 0 || c != '0') ++significant;
      if (significant > kDecimalDigits) return std::nullopt;
      decimal.digits = decimal.digits * 10 + (c - '0');
    }
  }
  if (negative && decimal.digits == 0) return std::nullopt;
  if (negative) decimal.digits = -decimal.digits;
  return decimal;
}

std::string decimal_text(const Decimal& decimal) {
  std::string digits = whole_text(decimal.digits);
  const auto places = static_cast<std::size_t>(decimal.places);
  if (digits.size() <= places) digits.insert(0, places + 1 - digits.size(), '0');
  if (places != 0) digits.insert(digits.size() - places, ".");
  return (decimal.digits < 0 ? "-" : "") + digits;
}

Quantity quantity_of(const Decimal& decimal) {
  return Quantity::fraction(decimal.digits, power_of_ten(decimal.places));
}

Quantity Quantity::fraction(Wide numerator, Wide denominator) {
  Quantity quantity;
  if (denominator == 0) return quantity;
  const Wide divisor = greatest_common_divisor(numerator, denominator);
  quantity.kind_ = Kind::kFraction;
  quantity.numerator_ = (denominator < 0 ? -numerator : numerator) / divisor;
  quantity.denominator_ = magnitude(denominator) / divisor;
  return quantity;
}

Quantity Quantity::floating(double value, bool single) {
  Quantity quantity;
  if (!std::isfinite(value)) return quantity;
  quantity.kind_ = Kind::kFloating;
  quantity.floating_ = value;
  quantity.single_ = single;
  return quantity;
}

std::partial_ordering Quantity::compare(const Decimal& other) const {
  if (kind_ == Kind::kUndefined) return std::partial_ordering::unordered;
  if (kind_ == Kind::kFloating) return floating_ <=> double_of(other);
  return compare_fractions({numerator_, denominator_}, fraction_of(other));
}

std::partial_ordering Quantity::compare(const Quantity& other) const {
  if (kind_ != other.kind_ || kind_ == Kind::kUndefined) return std::partial_ordering::unordered;
  if (kind_ == Kind::kFloating) return floating_ <=> other.floating_;
  return compare_fractions({numerator_, denominator_}, {other.numerator_, other.denominator_});
}

std::string Quantity::text() const {
  if (kind_ == Kind::kUndefined) return "undefined";
  if (kind_ == Kind::kFraction) return fraction_text(numerator_, denominator_);
  char buffer[64];
  const auto end = single_ ? std::to_chars(buffer, buffer + sizeof buffer, static_cast<float>(floating_))
                           : std::to_chars(buffer, buffer + sizeof buffer, floating_);
  return {buffer, end.ptr};
}

Quantity Quantity::combined(const Quantity& other, int sign) const {
  if (kind_ != other.kind_ || kind_ == Kind::kUndefined) return {};
  if (kind_ == Kind::kFloating) return floating(floating_ + sign * other.floating_, single_ && other.single_);
  const Wide common = greatest_common_divisor(denominator_, other.denominator_);
  Wide mine = 0, others = 0, under = 0, over = 0;
  if (__builtin_mul_overflow(numerator_, other.denominator_ / common, &mine) ||
      __builtin_mul_overflow(other.numerator_, Wide{sign} * (denominator_ / common), &others) ||
      __builtin_mul_overflow(denominator_, other.denominator_ / common, &under) ||
      __builtin_add_overflow(mine, others, &over) || over == std::numeric_limits<Wide>::min())
    return {};
  return fraction(over, under);
}

Quantity Quantity::minus(const Quantity& other) const { return combined(other, -1); }
Quantity Quantity::plus(const Quantity& other) const { return combined(other, 1); }

Quantity Quantity::divided_by(std::uint64_t count) const {
  if (kind_ == Kind::kUndefined) return {};
  if (kind_ == Kind::kFloating) return floating(floating_ / static_cast<double>(count), single_);
  Wide under = 0;
  if (__builtin_mul_overflow(denominator_, Wide{count}, &under)) return {};
  return fraction(numerator_, under);
}

int Quantity::decimals() const {
  if (kind_ == Kind::kUndefined) return 0;
  if (kind_ == Kind::kFraction) {
    std::string digits;
    return add_digits(magnitude(numerator_) % denominator_, denominator_, digits)
               ? static_cast<int>(digits.size())
               : -1;
  }
  if (!is_plain(floating_)) return 0;
  // "1.234e+02": digits behind the point less the exponent.
  char buffer[64];
  const auto end = std::to_chars(buffer, buffer + sizeof buffer, floating_, std::chars_format::scientific,
                                 single_ ? 6 : 14);
  const std::string_view text(buffer, static_cast<std::size_t>(end.ptr - buffer));
  const std::size_t e = text.find('e');
  const std::size_t last = text.substr(0, e).find_last_not_of('0');
  const std::size_t point = text.find('.');
  int exponent = 0;
  std::from_chars(text.data() + e + (text[e + 1] == '+' ? 2 : 1), text.data() + text.size(), exponent);
  return std::clamp(static_cast<int>(last - point) - exponent, 0, kDecimalDigits);
}

std::string Quantity::rounded_text(int places) const {
  if (kind_ == Kind::kFraction) {
    const std::optional<std::string> fixed = fixed_text(numerator_, denominator_, places);
    return fixed ? without_needless_zeros(*fixed) : text();
  }
  if (kind_ == Kind::kUndefined || !is_plain(floating_)) return text();
  char buffer[64];
  const auto end = std::to_chars(buffer, buffer + sizeof buffer, floating_, std::chars_format::fixed, places);
  return without_needless_zeros({buffer, end.ptr});
}

Quantity convert(const Conversion& conversion, std::int64_t stored) {
  if (!conversion.rational) {
    const int places = std::max(conversion.factor.places, conversion.offset.places);
    Wide sum = 0;
    if (!add_scaled(conversion.factor, stored, places, sum) || !add_scaled(conversion.offset, 1, places, sum))
      return {};
    return Quantity::fraction(sum, power_of_ten(places));
  }
  const auto& [b, c, e, f] = conversion.coefficients;
  const int places = std::max(std::max(b.places, c.places), std::max(e.places, f.places));
  Wide over = 0;
  Wide under = 0;
  if (!add_scaled(c, 1, places, over) || !add_scaled(f, -Wide{stored}, places, over) ||
      !add_scaled(e, stored, places, under) || !add_scaled(b, -1, places, under))
    return {};
  return Quantity::fraction(over, under);
}

Quantity convert_floating(const Conversion& conversion, double stored, bool single) {
  if (!conversion.rational)
    return Quantity::floating(double_of(conversion.factor) * stored + double_of(conversion.offset), single);
  const auto& [b, c, e, f] = conversion.coefficients;
  return Quantity::floating((double_of(c) - double_of(f) * stored) / (double_of(e) * stored - double_of(b)),
                            single);
}

}  // namespace calseal
