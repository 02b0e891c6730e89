#include "calseal/study/window_prices.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <unordered_map>

namespace calseal {
namespace {

constexpr std::size_t kMostEnds = 8192;   // windows end at so many places: some 2^25 windows
constexpr std::uint64_t kSameEnd = 64;    // bytes: a window that begins and ends so near is the hit itself
constexpr std::uint64_t kGridSlack = 16;  // bytes beside a grid point that a slot may take
constexpr std::uint64_t kBlock = 64;      // bytes, for the spread
constexpr std::uint64_t kLeastShare = 4;
constexpr double kMostFound = 1U << 20;  // so many windows of one value say enough

// One end of windows: the value from the range's begin up to there.
struct End {
  std::uint64_t at = 0, value = 0;
};

// Ends of windows `stride` bytes apart. Where nothing but one repeated word lies between, one end stands for
// all: unused space gives no windows of its own.
std::vector<End> ends_of(const ValueGroup& group, ByteView image, Range range, std::uint64_t stride) {
  std::vector<End> ends;
  std::uint64_t value = 0, last_block = ~std::uint64_t{0};
  for (std::uint64_t at = range.begin; at <= range.end && ends.size() < kMostEnds; at += stride) {
    const std::uint64_t end = std::min(at + stride, range.end);
    const std::uint64_t block =
        group.of(image.subspan(static_cast<std::size_t>(at), static_cast<std::size_t>(end - at)));
    if (block != last_block) ends.push_back({at, value});
    last_block = block;
    value = group.plus(value, block);
  }
  return ends;
}

bool near(std::uint64_t a, std::uint64_t b) { return a < b ? b - a <= kSameEnd : a - b <= kSameEnd; }

}  // namespace

double WindowPrices::share(const SearchAlgorithm& algorithm, std::size_t index, Range range,
                           std::uint64_t stride, std::uint64_t value, const Hit& hit) {
  const auto [known, fresh] = shares_.try_emplace(Key{index, range, stride, value}, 0);
  if (!fresh) return known->second;
  const ValueGroup group(algorithm);
  const std::vector<End> ends = ends_of(group, image_, range, stride);
  std::unordered_multimap<std::uint64_t, std::uint64_t> by_value;
  by_value.reserve(ends.size());
  const auto on_grid = [&](std::uint64_t at) {
    const std::uint64_t off = at % grid_.step;
    return off <= kGridSlack || off + kGridSlack >= grid_.step;
  };
  // Shorter windows are of another kind: in them what repeats has not yet mixed.
  const std::uint64_t least = hit.coverage.size() / kLeastShare;
  double found = 0, all = 0;
  std::size_t begins = 0;  // that are far enough before the end
  for (const End& end : ends) {
    while (ends[begins].at + least < end.at) ++begins;
    all += static_cast<double>(begins);
    // Windows that end here begin where the value so far was less by `value`.
    const auto [from, to] = by_value.equal_range(group.minus(end.value, group.normal(value)));
    for (auto it = from; it != to && found < kMostFound; ++it) {
      const bool itself = near(it->second, hit.coverage.begin) && near(end.at, hit.coverage.end);
      if (it->second + least < end.at && !itself && !(on_grid(it->second) && on_grid(end.at))) ++found;
    }
    by_value.emplace(end.value, end.at);
  }
  return known->second = all == 0 ? 0 : found / all;
}

double WindowPrices::spread_bits(const SearchAlgorithm& algorithm, Range coverage) const {
  const ValueGroup group(algorithm);
  double sum = 0, squares = 0, blocks = 0;
  for (std::uint64_t at = coverage.begin; at + kBlock <= coverage.end; at += kBlock) {
    // Of words as numbers: what a wide register would add up.
    const auto value = static_cast<double>(
        group.of(image_.subspan(static_cast<std::size_t>(at), static_cast<std::size_t>(kBlock))));
    sum += value;
    squares += value * value;
    ++blocks;
  }
  if (blocks < 2 || group.is_crc() || !group.adds()) return algorithm.bits;
  const double variance = std::max(0.0, squares / blocks - (sum / blocks) * (sum / blocks)) * blocks;
  // The entropy of a normal distribution of that spread.
  return std::log2(std::sqrt(2 * std::numbers::pi * std::numbers::e * (variance + 1.0 / 12)));
}

double WindowPrices::word_bits(const Hit& hit) {
  const SearchAlgorithm& algorithm = search_algorithms()[hit.algorithm];
  const std::uint64_t word =
      stored_at(image_, hit.slot, algorithm, {hit.storage.order, SlotTransform::kPlain}).value;
  const std::size_t size = hit.size();
  const auto [known, fresh] =
      words_.try_emplace({hit.storage.order == ByteOrder::kBig ? ~word : word, size}, 0);
  if (!fresh) return known->second;
  double same = 0, all = 0;
  const ByteView stored = image_.subspan(static_cast<std::size_t>(hit.slot), size);
  for (std::size_t at = 0; at + size <= image_.size(); at += size, ++all)
    same +=
        std::equal(stored.begin(), stored.end(), image_.begin() + static_cast<std::ptrdiff_t>(at)) ? 1 : 0;
  // Once it is there by being the slot.
  return known->second = same <= 1 ? static_cast<double>(8 * size) : std::log2(all / same);
}

double WindowPrices::bits(const Hit& hit) {
  const SearchAlgorithm& algorithm = search_algorithms()[hit.algorithm];
  if (algorithm.algorithm.kind != AlgorithmKind::kSum) return algorithm.bits;
  double bits = std::min<double>(algorithm.bits, spread_bits(algorithm, hit.coverage));
  if (hit.has_slot()) bits = std::min(bits, word_bits(hit));
  std::vector<std::uint64_t> values;
  values.push_back(hit.has_slot() ? stored_at(image_, hit.slot, algorithm, hit.storage).value : hit.equals);
  // Beside what it covers, the slot makes one window of a constant.
  if (says_only_balance(hit)) values.push_back(0);
  const std::uint64_t unit = algorithm.unit;
  const Range whole{0, image_.size() / unit * unit};
  const Range coverage{hit.coverage.begin, hit.coverage.begin + hit.coverage.size() / unit * unit};
  const auto coarse = [&](Range range) {
    std::uint64_t stride = unit;
    while (range.size() / stride > kMostEnds) stride *= 2;
    return stride;
  };
  for (const std::uint64_t value : values) {
    for (const auto& [range, stride] : {std::pair(coverage, unit), std::pair(coverage, coarse(coverage)),
                                        std::pair(whole, coarse(whole))}) {
      const double part = share(algorithm, hit.algorithm, range, stride, value, hit);
      if (part > 0) bits = std::min(bits, -std::log2(part));
    }
  }
  return std::max(bits, 0.0);
}

}  // namespace calseal
