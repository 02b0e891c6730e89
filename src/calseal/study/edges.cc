#include "calseal/study/edges.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <optional>

namespace calseal {
namespace {

constexpr std::uint64_t kTail = 32;  // bytes before an edge that padding may leave to a checksum and the like
constexpr std::uint64_t kPadding = 16;  // equal bytes that look like padding
constexpr double kBlankCost = 1.5;      // bits
constexpr double kChangeShows = 2.5;    // times the median change

bool is_constant(ByteView bytes) {
  return std::ranges::all_of(bytes, [&](std::uint8_t byte) { return byte == bytes.front(); });
}

// Padding runs up to the point, but for this many bytes; nothing when there is no padding.
std::optional<std::uint64_t> padded_before(ByteView image, std::uint64_t at) {
  if (at < kTail + kPadding) return std::nullopt;
  for (std::uint64_t tail = 0; tail <= kTail; tail += 2) {
    if (is_constant(image.subspan(static_cast<std::size_t>(at - tail - kPadding), kPadding))) return tail;
  }
  return std::nullopt;
}

using Histogram = std::array<float, 256>;

Histogram histogram_of(ByteView bytes) {
  std::array<std::uint32_t, 256> counts{};
  for (const std::uint8_t byte : bytes) ++counts[byte];
  Histogram shares{};
  for (std::size_t i = 0; i < 256; ++i)
    shares[i] = static_cast<float>(counts[i]) / static_cast<float>(std::max<std::size_t>(bytes.size(), 1));
  return shares;
}

// Jensen-Shannon divergence, 0 to 1.
double divergence(const Histogram& a, const Histogram& b) {
  double sum = 0;
  for (std::size_t i = 0; i < 256; ++i) {
    const double p = a[i], q = b[i], m = (p + q) / 2;
    if (p > 0) sum += p * std::log2(p / m) / 2;
    if (q > 0) sum += q * std::log2(q / m) / 2;
  }
  return sum;
}

}  // namespace

Edges::Edges(ByteView image, const Grid& grid) {
  const std::size_t points = grid.count();
  std::vector<double> scores(points, 0), change(points, 0);
  std::vector<bool> shows(points, false), blank(points, false);
  std::vector<Histogram> histograms;
  for (std::size_t i = 0; i + 1 < points; ++i) {
    const ByteView block = image.subspan(static_cast<std::size_t>(grid.at(i)),
                                         static_cast<std::size_t>(grid.at(i + 1) - grid.at(i)));
    blank[i] = is_constant(block);
    histograms.push_back(histogram_of(block));
  }
  for (std::size_t i = 1; i + 1 < points; ++i) change[i] = divergence(histograms[i - 1], histograms[i]);
  std::vector<double> sorted(change);
  std::ranges::sort(sorted);
  const double median = sorted[sorted.size() / 2];
  lone_.assign(points, false);
  for (std::size_t i = 0; i < points; ++i) {
    const std::optional<std::uint64_t> tail = padded_before(image, grid.at(i));
    lone_[i] = tail && *tail != 0;
    if (i == 0 || i + 1 == points) {
      scores[i] = 10;
      shows[i] = true;
      continue;
    }
    if (blank[i - 1] && blank[i]) {
      scores[i] = -1;
      continue;
    }
    if (blank[i - 1] != blank[i]) scores[i] += 2;
    if (tail && !blank[i - 1]) scores[i] += 1.5;
    scores[i] += change[i];
    const bool peak = change[i] >= change[i - 1] && (i + 2 >= points || change[i] >= change[i + 1]);
    shows[i] = scores[i] >= 1.5 || (peak && change[i] > kChangeShows * median + 0.02);
    scores[i] += 0.04 * std::countr_zero(i);
  }
  for (std::size_t i = 0; i < points; ++i) ranked_.push_back(i);
  std::ranges::stable_sort(ranked_, std::ranges::greater(), [&](std::size_t i) { return scores[i]; });
  costs_.assign(points, 0);
  for (std::size_t rank = 0; rank < points; ++rank)
    costs_[ranked_[rank]] = 2.2 + 1.15 * std::log2(static_cast<double>(rank) + 1);
  // A range hardly begins with unused space.
  for (std::size_t i = 0; i + 1 < points; ++i) costs_[i] += blank[i] ? kBlankCost : 0;
  lone_cost_ =
      2.5 + std::log2(static_cast<double>(std::max<std::ptrdiff_t>(std::ranges::count(lone_, true), 1)));
  blank_ = std::move(blank);
  shown_before_.assign(points + 1, 0);
  for (std::size_t i = 0; i < points; ++i) {
    if (shows[i]) shown_.push_back(i);
    shown_before_[i + 1] = static_cast<std::uint32_t>(shown_.size());
  }
}

double Edges::end_cost(std::size_t begin, std::size_t end) const {
  double cost = 1 + costs_[end];
  if (shown_before_[end + 1] != shown_before_[end]) {
    const double which = shown_before_[end] - shown_before_[begin + 1] + 1.0;
    cost = std::min(cost, 1.5 + 2 * std::log2(which));
  }
  return cost + (blank_[end - 1] ? kBlankCost : 0);
}

double Edges::next_begin_cost(std::size_t from, std::size_t begin) const {
  double cost = 1 + costs_[begin];
  if (from == begin) return std::min(cost, 1.5);
  if (shown_before_[begin + 1] != shown_before_[begin]) {
    const double which = shown_before_[begin] - shown_before_[from + 1] + 2.0;
    cost = std::min(cost, 1.5 + 2 * std::log2(which));
  }
  return cost;
}

double Edges::range_cost(std::size_t begin, std::size_t end) const {
  if (begin == 0 && end + 1 == costs_.size()) return 1.5;
  return begin_cost(begin) + end_cost(begin, end);
}

}  // namespace calseal
