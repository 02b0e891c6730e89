// Byte sequences and half-open ranges, the two things that every layer passes on.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace calseal {

using Bytes = std::vector<std::uint8_t>;
using ByteView = std::span<const std::uint8_t>;

// One past the highest address that exists anywhere in calseal.
inline constexpr std::uint64_t kAddressLimit = std::uint64_t{1} << 32;

// The largest image, all memories together.
inline constexpr std::uint64_t kImageLimit = std::uint64_t{256} << 20;

inline ByteView view_of(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}
inline std::string_view text_of(ByteView bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

// Half-open range [begin, end) of addresses or offsets, in bytes; begin <= end always.
struct Range {
  std::uint64_t begin = 0;
  std::uint64_t end = 0;

  std::uint64_t size() const { return end - begin; }
  bool empty() const { return begin == end; }
  bool contains(std::uint64_t at) const { return begin <= at && at < end; }
  bool contains(const Range& other) const { return begin <= other.begin && other.end <= end; }
  bool overlaps(const Range& other) const { return begin < other.end && other.begin < end; }

  friend auto operator<=>(const Range&, const Range&) = default;
};

// begin + size without wrapping, or nothing when the end would pass `limit`.
inline std::optional<Range> make_range(std::uint64_t begin, std::uint64_t size, std::uint64_t limit) {
  if (begin > limit || size > limit - begin) return std::nullopt;
  return Range{begin, begin + size};
}

inline Range intersect(const Range& a, const Range& b) {
  const std::uint64_t begin = std::max(a.begin, b.begin);
  const std::uint64_t end = std::min(a.end, b.end);
  return begin < end ? Range{begin, end} : Range{begin, begin};
}

}  // namespace calseal
