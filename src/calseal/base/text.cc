#include "calseal/base/text.h"

#include <array>
#include <cstring>

#include "calseal/base/utf8.h"

namespace calseal {
namespace {

constexpr char kDigits[] = "0123456789abcdef";

constexpr std::array<std::int8_t, 256> kDigitValues = [] {
  std::array<std::int8_t, 256> values{};
  values.fill(-1);
  for (int i = 0; i < 16; ++i) values[static_cast<unsigned char>(kDigits[i])] = static_cast<std::int8_t>(i);
  return values;
}();
int lower_hex_digit(char c) { return kDigitValues[static_cast<unsigned char>(c)]; }

struct Points {
  std::uint32_t first, last;
};

// Controls (C0, C1), marks of direction, what has no width or shows as nothing, tags. Ascending.
constexpr std::array kMisleading{Points{0x0000, 0x001f}, Points{0x007f, 0x009f},  Points{0x00ad, 0x00ad},
                                 Points{0x061c, 0x061c}, Points{0x115f, 0x1160},  Points{0x180e, 0x180e},
                                 Points{0x200b, 0x200f}, Points{0x2028, 0x202e},  Points{0x2060, 0x206f},
                                 Points{0x3164, 0x3164}, Points{0xfeff, 0xfeff},  Points{0xffa0, 0xffa0},
                                 Points{0xfff9, 0xfffb}, Points{0xe0000, 0xe007f}};

}  // namespace

bool misleads(std::uint32_t point) {
  for (const Points& points : kMisleading) {
    if (point <= points.last) return point >= points.first;
  }
  return false;
}

std::string to_hex(ByteView bytes) {
  std::string text(bytes.size() * 2, '\0');
  char* to = text.data();
  for (const std::uint8_t byte : bytes) {
    *to++ = kDigits[byte >> 4];
    *to++ = kDigits[byte & 15];
  }
  return text;
}

std::optional<Bytes> from_hex(std::string_view text) {
  if (text.size() % 2 != 0) return std::nullopt;
  Bytes bytes(text.size() / 2);
  int all = 0;  // negative once anything was no digit: looked at once, not at each of them
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    const int high = lower_hex_digit(text[2 * i]);
    const int low = lower_hex_digit(text[2 * i + 1]);
    all |= high | low;
    bytes[i] = static_cast<std::uint8_t>(high * 16 + low);
  }
  if (all < 0) return std::nullopt;
  return bytes;
}

std::string address_text(std::uint64_t address) { return hex_number(address, 8); }

std::optional<std::uint64_t> parse_address(std::string_view text) {
  if (text.size() != 10 || !text.starts_with("0x")) return std::nullopt;
  std::uint64_t value = 0;
  for (const char c : text.substr(2)) {
    const int digit = lower_hex_digit(c);
    if (digit < 0) return std::nullopt;
    value = value * 16 + static_cast<std::uint64_t>(digit);
  }
  return value;
}

std::string hex_number(std::uint64_t value, int digits) {
  std::string text;
  while (value != 0 || digits > 0) {
    text.insert(text.begin(), kDigits[value & 15]);
    value >>= 4;
    --digits;
  }
  return "0x" + text;
}

std::string range_text(const Range& range) {
  if (range.size() <= 1) return address_text(range.begin);
  return address_text(range.begin) + "-" + address_text(range.end - 1);
}

std::string grouped(std::uint64_t value) { return grouped(std::to_string(value)); }

std::string grouped(std::string number) {
  const std::size_t sign = number.starts_with('-') || number.starts_with('+') ? 1 : 0;
  if (number.find_first_not_of("0123456789.", sign) != std::string::npos) return number;
  for (std::size_t at = std::min(number.find('.'), number.size()); at > sign + 3;) {
    at -= 3;
    number.insert(at, ",");
  }
  return number;
}

std::string bytes_text(std::uint64_t count) { return grouped(count) + (count == 1 ? " byte" : " bytes"); }

std::string printable(std::string_view text, std::size_t limit) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    if (out.size() >= limit) return out + "...";
    std::uint32_t point = 0;
    const std::size_t length = utf8_length(text, at, point);
    if (length == 0) {
      const auto byte = static_cast<unsigned char>(text[at]);
      out += "\\x";
      out.push_back(kDigits[byte >> 4]);
      out.push_back(kDigits[byte & 15]);
      ++at;
      continue;
    }
    if (misleads(point)) {
      const bool is_long = point > 0xffff;
      out += is_long ? "\\u{" : "\\u";
      for (int shift = is_long ? 16 : 12; shift >= 0; shift -= 4)
        out.push_back(kDigits[(point >> shift) & 15]);
      if (is_long) out.push_back('}');
    } else {
      out.append(text.substr(at, length));
    }
    at += length;
  }
  return out;
}

bool is_utf8(std::string_view text) {
  for (std::size_t at = 0; at < text.size();) {
    // Eight bytes of ASCII in one look.
    std::uint64_t eight = 0;
    if (text.size() - at >= sizeof(eight)) {
      std::memcpy(&eight, text.data() + at, sizeof(eight));
      if ((eight & 0x8080808080808080) == 0) {
        at += sizeof(eight);
        continue;
      }
    }
    std::uint32_t point = 0;
    const std::size_t length = utf8_length(text, at, point);
    if (length == 0) return false;
    at += length;
  }
  return true;
}

std::string hex_excerpt(ByteView bytes, std::size_t limit) {
  std::string text;
  for (std::size_t i = 0; i < bytes.size() && i < limit; ++i) {
    if (i != 0) text.push_back(' ');
    text.push_back(kDigits[bytes[i] >> 4]);
    text.push_back(kDigits[bytes[i] & 15]);
  }
  if (bytes.size() > limit) text += " ...";
  return text;
}

}  // namespace calseal
