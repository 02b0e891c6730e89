#include "calseal/parcel/file_name.h"

#include <algorithm>
#include <array>
#include <cstdint>

#include "calseal/base/utf8.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

struct Points {
  std::uint32_t first, last;
};

// Categories Cc and Cf of Unicode 15.0.
constexpr std::array<Points, 23> kUnseen{{
    {0x0000, 0x001f},   {0x007f, 0x009f},   {0x00ad, 0x00ad},   {0x0600, 0x0605},   {0x061c, 0x061c},
    {0x06dd, 0x06dd},   {0x070f, 0x070f},   {0x0890, 0x0891},   {0x08e2, 0x08e2},   {0x180e, 0x180e},
    {0x200b, 0x200f},   {0x202a, 0x202e},   {0x2060, 0x2064},   {0x2066, 0x206f},   {0xfeff, 0xfeff},
    {0xfff9, 0xfffb},   {0x110bd, 0x110bd}, {0x110cd, 0x110cd}, {0x13430, 0x1343f}, {0x1bca0, 0x1bca3},
    {0x1d173, 0x1d17a}, {0xe0001, 0xe0001}, {0xe0020, 0xe007f},
}};

bool is_unseen(std::uint32_t point) {
  return std::any_of(kUnseen.begin(), kUnseen.end(),
                     [&](const Points& points) { return points.first <= point && point <= points.last; });
}

}  // namespace

std::string plain_file_name(std::string_view path) {
  const std::size_t slash = path.find_last_of("/\\");
  if (slash != std::string_view::npos) path.remove_prefix(slash + 1);
  std::string name;
  for (std::size_t at = 0; at < path.size();) {
    std::uint32_t point = 0;
    const std::size_t length = utf8_length(path, at, point);
    const std::string_view shown =
        length == 0 || is_unseen(point) ? std::string_view("_") : path.substr(at, length);
    if (name.size() + shown.size() > kLineLimit) break;
    name += shown;
    at += std::max<std::size_t>(length, 1);
  }
  return name;
}

}  // namespace calseal
