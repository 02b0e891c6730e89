#include "calseal/base/base64.h"

namespace calseal {

std::string to_base64(ByteView bytes) {
  constexpr char kDigits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t left = bytes.size() - i;
    const std::uint32_t three = std::uint32_t{bytes[i]} << 16 |
                                (left > 1 ? std::uint32_t{bytes[i + 1]} << 8 : 0U) |
                                (left > 2 ? std::uint32_t{bytes[i + 2]} : 0U);
    text.push_back(kDigits[three >> 18 & 63U]);
    text.push_back(kDigits[three >> 12 & 63U]);
    text.push_back(left > 1 ? kDigits[three >> 6 & 63U] : '=');
    text.push_back(left > 2 ? kDigits[three & 63U] : '=');
  }
  return text;
}

}  // namespace calseal
