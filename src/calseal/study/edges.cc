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
constexpr double kBlankBegin = 4;       // bits
constexpr double kBlankEnd = 1.5;       // bits
constexpr double kChangeShows = 2.5;    // times what neighbouring blocks change anyway
constexpr double kChangeLeast = 0.02;   // of 1: what any two blocks of one kind may differ by
constexpr std::size_t kNeighbours = 6;  // blocks on either side that say what change is usual there
constexpr std::uint64_t kPlainRun = 8;  // equal bytes from which on they say nothing about the content

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

// What a block looks like, in three ways: its bytes by their place in a word; by how much they differ from
// the byte before, and from the same byte of the 16-bit word before. The last two hardly change inside of a
// table, however its values run.
struct Look {
  std::array<std::vector<float>, 3> shares;
};

// 0 for no difference, then by size, in half octaves, either sign by itself: below 32.
std::size_t step_class(std::uint8_t from, std::uint8_t to) {
  static const std::array<std::uint8_t, 256> kClasses = [] {
    std::array<std::uint8_t, 256> classes{};
    for (int i = 1; i < 256; ++i) {
      const int size = i < 128 ? i : 256 - i;
      const auto octaves = static_cast<int>(2 * std::log2(size) + 1.5);
      classes[static_cast<std::size_t>(i)] = static_cast<std::uint8_t>(i < 128 ? octaves : 16 + octaves);
    }
    return classes;
  }();
  return kClasses[static_cast<std::uint8_t>(to - from)];
}

Look look_of(ByteView image, std::uint64_t begin, std::uint64_t end) {
  Look look;
  look.shares[0].assign(4 * 32, 0);
  look.shares[1].assign(2 * 32, 0);
  look.shares[2].assign(2 * 32, 0);
  std::uint64_t run = 0;
  float counted = 0;
  for (std::uint64_t i = begin; i < end; ++i) {
    const std::uint8_t byte = image[static_cast<std::size_t>(i)];
    const std::uint8_t before = i >= 1 ? image[static_cast<std::size_t>(i - 1)] : byte;
    const std::uint8_t word_before = i >= 2 ? image[static_cast<std::size_t>(i - 2)] : byte;
    run = byte == before ? run + 1 : 0;
    if (run >= kPlainRun) continue;
    ++look.shares[0][i % 4 * 32 + byte / 8];
    ++look.shares[1][i % 2 * 32 + step_class(before, byte)];
    ++look.shares[2][i % 2 * 32 + step_class(word_before, byte)];
    ++counted;
  }
  for (std::vector<float>& shares : look.shares) {
    for (float& share : shares) share /= std::max(counted, 1.0F);
  }
  return look;
}

// Jensen-Shannon divergence, 0 to 1.
double divergence(const std::vector<float>& a, const std::vector<float>& b) {
  double sum = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const double p = a[i], q = b[i], m = (p + q) / 2;
    if (p > 0) sum += p * std::log2(p / m) / 2;
    if (q > 0) sum += q * std::log2(q / m) / 2;
  }
  return sum;
}

// How many times more a point changes than the points around it do, by the way of looking that shows it most.
std::vector<double> changes_of(ByteView image, const Grid& grid, const std::vector<bool>& blank) {
  const std::size_t points = grid.count();
  std::vector<Look> looks;
  for (std::size_t i = 0; i + 1 < points; ++i) looks.push_back(look_of(image, grid.at(i), grid.at(i + 1)));
  std::vector<double> most(points, 0), change(points, 0), around;
  for (std::size_t way = 0; way < 3; ++way) {
    for (std::size_t i = 1; i + 1 < points; ++i)
      change[i] = divergence(looks[i - 1].shares[way], looks[i].shares[way]);
    for (std::size_t i = 1; i + 1 < points; ++i) {
      if (blank[i - 1] || blank[i]) continue;
      around.clear();
      for (std::size_t n = i - std::min(i - 1, kNeighbours); n < std::min(points - 1, i + kNeighbours + 1);
           ++n) {
        if (n != i && !blank[n - 1] && !blank[n]) around.push_back(change[n]);
      }
      std::ranges::sort(around);
      const double usual = around.empty() ? 0 : around[around.size() / 2];
      most[i] = std::max(most[i], change[i] / (usual + kChangeLeast));
    }
  }
  return most;
}

}  // namespace

Edges::Edges(ByteView image, const Grid& grid) {
  const std::size_t points = grid.count();
  std::vector<double> scores(points, 0);
  std::vector<bool> shows(points, false);
  blank_.assign(points, false);
  lone_.assign(points, false);
  for (std::size_t i = 0; i + 1 < points; ++i)
    blank_[i] = is_constant(image.subspan(static_cast<std::size_t>(grid.at(i)),
                                          static_cast<std::size_t>(grid.at(i + 1) - grid.at(i))));
  const std::vector<double> change = changes_of(image, grid, blank_);
  for (std::size_t i = 0; i < points; ++i) {
    const std::optional<std::uint64_t> tail = padded_before(image, grid.at(i));
    lone_[i] = tail && *tail != 0;
    if (i == 0 || i + 1 == points) {
      scores[i] = 10;
      shows[i] = true;
      continue;
    }
    if (blank_[i - 1] && blank_[i]) {
      scores[i] = -1;
      continue;
    }
    if (blank_[i - 1] != blank_[i]) scores[i] += 4;
    if (tail && !blank_[i - 1]) scores[i] += 3;
    scores[i] += std::min(4.0, std::log2(1 + change[i]));
    shows[i] = blank_[i - 1] != blank_[i] || (tail && !blank_[i - 1]) || change[i] > kChangeShows;
    scores[i] += 0.04 * std::countr_zero(i);
  }
  for (std::size_t i = 0; i < points; ++i) ranked_.push_back(i);
  std::ranges::stable_sort(ranked_, std::ranges::greater(), [&](std::size_t i) { return scores[i]; });
  shown_before_.assign(points + 1, 0);
  lone_before_.assign(points + 1, 0);
  for (std::size_t i = 0; i < points; ++i) {
    if (shows[i]) shown_.push_back(i);
    shown_before_[i + 1] = static_cast<std::uint32_t>(shown_.size());
    lone_before_[i + 1] = lone_before_[i] + (lone_[i] ? 1 : 0);
  }
  double ranks = 0;
  for (std::size_t rank = 1; rank <= points; ++rank) ranks += 1 / static_cast<double>(rank);
  begin_costs_.assign(points, 0);
  for (std::size_t rank = 0; rank < points; ++rank) {
    const std::size_t i = ranked_[rank];
    const double share = (shows[i] ? 0.5 / static_cast<double>(shown_.size()) : 0) +
                         0.25 / (ranks * static_cast<double>(rank + 1)) + 0.25 / static_cast<double>(points);
    // A range hardly begins with unused space.
    begin_costs_[i] = -std::log2(share) + blank_begin_cost(i);
  }
}

double Edges::blank_begin_cost(std::size_t point) const {
  return point + 1 < blank_.size() && blank_[point] ? kBlankBegin : 0;
}

double Edges::end_cost(std::size_t begin, std::size_t end) const {
  const auto after = static_cast<double>(shown_before_.size() - 2 - begin);
  double share = 0.15 / std::max(after, 1.0);
  if (shown_before_[end + 1] != shown_before_[end]) {
    const double which = shown_before_[end] - shown_before_[begin + 1] + 1.0;
    const double shown = shown_before_.back() - shown_before_[begin + 1];
    share += 0.55 * 0.6 / (which * which) + 0.15 / shown;
  }
  if (lone_[end]) share += 0.15 / (lone_before_.back() - lone_before_[begin + 1]);
  return -std::log2(share) + (blank_[end - 1] ? kBlankEnd : 0);
}

double Edges::next_begin_cost(std::size_t from, std::size_t begin) const {
  double share = 0.25 * std::exp2(-begin_costs_[begin]);
  if (from == begin) {
    share += 0.4;
  } else if (shown_before_[begin + 1] != shown_before_[begin]) {
    const double which = shown_before_[begin] - shown_before_[from + 1] + 1.0;
    share += 0.35 * 0.6 / (which * which);
  }
  return -std::log2(share);
}

double Edges::range_cost(std::size_t begin, std::size_t end) const {
  const double share = 0.94 * std::exp2(-begin_costs_[begin] - end_cost(begin, end));
  return -std::log2(begin == 0 && end + 1 == begin_costs_.size() ? share + 0.06 : share);
}

}  // namespace calseal
