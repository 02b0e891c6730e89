#include "calseal/digest/patch_sum.h"

#include <algorithm>
#include <array>
#include <cassert>

#include "calseal/digest/load.h"

namespace calseal {
namespace {

// What changed in a sum of words, gathered by the bytes' offset modulo 8: every unit divides it.
class SumChange {
 public:
  void add(const CrcChange& change) {
    const std::size_t size = change.after.size();
    std::size_t at = change.offset % 8;
    for (std::size_t i = 0; i < size;) {
      const std::size_t count = std::min(8 - at, size - i);
      add_eight(eight(change.before, i, count) << (8 * at), eight(change.after, i, count) << (8 * at));
      i += count;
      at = 0;
    }
  }
  std::uint64_t apply(const SumParameters& sum, std::uint64_t value) {
    spread();
    const auto unit = static_cast<std::size_t>(sum.unit / 8);
    for (std::size_t at = 0; at < grown_.size(); ++at) {
      const std::size_t place = sum.order == ByteOrder::kLittle ? at % unit : unit - 1 - at % unit;
      if (sum.operation == SumOperation::kXor) {
        value ^= (flipped_ >> (8 * at) & 0xff) << (8 * place);
      } else {
        value += grown_[at] << (8 * place);
      }
    }
    return value & low_mask(sum.accumulator);
  }

 private:
  // Up to eight bytes, the first one lowest.
  static std::uint64_t eight(ByteView bytes, std::size_t from, std::size_t count) {
    if (count == 8) return detail::load_little<std::uint64_t>(bytes.data() + from);
    std::uint64_t word = 0;
    for (std::size_t i = count; i > 0; --i) word = word << 8 | bytes[from + i - 1];
    return word;
  }
  void add_eight(std::uint64_t before, std::uint64_t after) {
    flipped_ ^= before ^ after;
    before_[0] += before & kEven;
    before_[1] += before >> 8 & kEven;
    after_[0] += after & kEven;
    after_[1] += after >> 8 & kEven;
    if (++gathered_ == kMost) spread();
  }
  void spread() {
    for (std::size_t at = 0; at < grown_.size(); ++at) {
      const std::size_t field = 16 * (at / 2);
      grown_[at] += (after_[at % 2] >> field & 0xffff) - (before_[at % 2] >> field & 0xffff);
    }
    before_ = {};
    after_ = {};
    gathered_ = 0;
  }

  static constexpr std::uint64_t kEven = 0x00ff00ff00ff00ff;
  static constexpr std::size_t kMost = 257;          // bytes that a field of 16 bits can sum up
  std::array<std::uint64_t, 2> before_{}, after_{};  // sums by even and odd offset, four of 16 bits in each
  std::size_t gathered_ = 0;                         // eights in them
  std::array<std::uint64_t, 8> grown_{};             // modulo 2^64
  std::uint64_t flipped_ = 0;
};

}  // namespace

std::uint64_t patch_sum(const SumParameters& sum, std::uint64_t value,
                        const std::vector<CrcChange>& changes) {
  assert(sum.operation != SumOperation::kAddEndAround);
  SumChange change;
  for (const CrcChange& each : changes) change.add(each);
  return change.apply(sum, value);
}

}  // namespace calseal
