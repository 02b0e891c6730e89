#include "calseal/base/utf8.h"

namespace calseal {

std::size_t utf8_length(std::string_view text, std::size_t at, std::uint32_t& point) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[at + i]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) {
    point = lead;
    return 1;
  }
  std::size_t length = 0;
  std::uint32_t least = 0;
  if ((lead & 0xe0) == 0xc0) {
    length = 2, least = 0x80, point = lead & 0x1f;
  } else if ((lead & 0xf0) == 0xe0) {
    length = 3, least = 0x800, point = lead & 0x0f;
  } else if ((lead & 0xf8) == 0xf0) {
    length = 4, least = 0x10000, point = lead & 0x07;
  } else {
    return 0;
  }
  if (text.size() - at < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xc0) != 0x80) return 0;
    point = (point << 6) | (byte(i) & 0x3fU);
  }
  if (point < least || point > 0x10ffff || (point >= 0xd800 && point <= 0xdfff)) return 0;
  return length;
}

}  // namespace calseal
