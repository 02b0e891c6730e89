#include "calseal/study/range_values.h"

#include "calseal/digest/sum.h"

namespace calseal {

ValueGroup::ValueGroup(const SearchAlgorithm& algorithm) : mask_(low_mask(algorithm.bits)) {
  if (algorithm.algorithm.kind == AlgorithmKind::kCrc) {
    CrcParameters parameters = algorithm.algorithm.crc;
    xorout_ = parameters.xorout;
    parameters.xorout = 0;
    init_ = Crc(parameters).compute({});
    parameters.init = 0;
    crc_.emplace(parameters);
  } else {
    sum_ = algorithm.algorithm.sum;
  }
}

std::uint64_t ValueGroup::plus(std::uint64_t a, std::uint64_t b) const {
  if (!adds()) return a ^ b;
  if (!end_around()) return (a + b) & mask_;
  return a >= mask_ - b ? a - (mask_ - b) : a + b;  // both below the modulus
}

std::uint64_t ValueGroup::minus(std::uint64_t a, std::uint64_t b) const {
  if (!adds()) return a ^ b;
  if (!end_around()) return (a - b) & mask_;
  return a >= b ? a - b : a + (mask_ - b);
}

std::uint64_t ValueGroup::of(ByteView message) const {
  if (crc_) return crc_->compute(message);
  Sum sum(sum_);
  sum.update(message);
  return normal(sum.value());
}

std::uint64_t ValueGroup::shift(std::uint64_t value, std::uint64_t bytes) const {
  return crc_ ? crc_->combine(value, 0, bytes) : value;
}

RangeValues::RangeValues(const SearchAlgorithm& algorithm, ByteView image, const Grid& grid)
    : group_(algorithm), image_(image), grid_(grid), unit_(algorithm.unit) {
  const std::size_t points = grid.count();
  prefixes_.push_back(0);
  for (std::size_t i = 0; i + 1 < points; ++i) {
    const std::uint64_t begin = grid.at(i), end = grid.at(i + 1);
    blocks_.push_back(
        group_.of(image.subspan(static_cast<std::size_t>(begin), static_cast<std::size_t>(end - begin))));
    prefixes_.push_back(group_.plus(group_.shift(prefixes_.back(), end - begin), blocks_.back()));
  }
}

std::uint64_t RangeValues::prefix(std::uint64_t end) const {
  const auto point = static_cast<std::size_t>(end / grid_.step);
  const std::uint64_t from = point * grid_.step;
  if (from == end) return prefixes_[point];
  const ByteView rest = image_.subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(end - from));
  return group_.plus(group_.shift(prefixes_[point], end - from), group_.of(rest));
}

std::uint64_t RangeValues::plain(Range range) const {
  // Off the word's raster a sum has nothing in common with the prefixes.
  if (range.begin % unit_ != 0 || range.size() <= 2 * grid_.step) {
    return group_.of(
        image_.subspan(static_cast<std::size_t>(range.begin), static_cast<std::size_t>(range.size())));
  }
  return group_.minus(prefix(range.end), group_.shift(prefix(range.begin), range.size()));
}

std::uint64_t RangeValues::value(Range range) const {
  return group_.plus(group_.shift(group_.init(), range.size()), plain(range)) ^ group_.xorout();
}

}  // namespace calseal
