#include "calseal/study/crc_start.h"

#include <algorithm>
#include <map>
#include <optional>
#include <set>
#include <tuple>

#include "calseal/base/text.h"
#include "calseal/digest/gf2.h"
#include "calseal/digest/reflect.h"

namespace calseal {
namespace {

// What init and xorout together put into the value over one range.
struct Equation {
  Candidate* find = nullptr;
  std::uint64_t length = 0;  // bytes
  std::uint64_t offset = 0;
};

// The finds of one polynomial, direction and byte order. A start is init as the register would be written
// out.
class Family {
 public:
  explicit Family(const SearchAlgorithm& algorithm)
      : algorithm_(algorithm), group_(algorithm), width_(algorithm.bits) {}

  void add(Candidate& find, ByteView image) {
    const Hit& hit = find.hit;
    const RangeValues values(algorithm_, image, {kSearchGrid, image.size()});
    const std::uint64_t stored = stored_at(image, hit.slot, algorithm_, hit.storage).value;
    equations_.push_back({&find, hit.coverage.size(), stored ^ value_over(values, image, hit)});
  }

  void solve() {
    const std::optional<std::uint64_t> start = common_start();
    for (const Equation& one : equations_) {
      const std::uint64_t init = start.value_or(0);
      one.find->solved = with(init, one.offset ^ group_.shift(init, one.length));
      one.find->start_is_known = start.has_value();
    }
  }

 private:
  // A start with which all finds have one xorout.
  std::optional<std::uint64_t> common_start() const {
    const auto other = std::ranges::find_if(
        equations_, [&](const Equation& one) { return one.length != equations_.front().length; });
    if (other == equations_.end()) return std::nullopt;
    const Equation& first = equations_.front();
    std::set<std::uint64_t> lengths;
    for (const Equation& one : equations_) lengths.insert(one.length);
    std::vector<std::uint64_t> starts = {0, low_mask(width_)};
    std::vector<BitVector> columns;
    for (int bit = 0; bit < width_; ++bit) {
      const std::uint64_t one = std::uint64_t{1} << bit;
      columns.push_back(bits_of(group_.shift(one, first.length) ^ group_.shift(one, other->length), width_));
    }
    if (const auto solution = solve_gf2(columns, bits_of(first.offset ^ other->offset, width_))) {
      std::uint64_t start = 0;
      for (int bit = 0; bit < width_; ++bit)
        start |= std::uint64_t{solution->values.get(static_cast<std::size_t>(bit))} << bit;
      starts.push_back(start);
    }
    for (const std::uint64_t start : starts) {
      const auto xorout = [&](const Equation& one) { return one.offset ^ group_.shift(start, one.length); };
      // Two lengths can always be met; a third is what shows that they belong together.
      const bool plain = start == 0 || start == low_mask(width_);
      if (!plain && lengths.size() < 3) continue;
      if (std::ranges::all_of(equations_, [&](const Equation& one) { return xorout(one) == xorout(first); }))
        return start;
    }
    return std::nullopt;
  }

  Algorithm with(std::uint64_t start, std::uint64_t xorout) const {
    Algorithm algorithm = algorithm_.algorithm;
    CrcParameters& crc = algorithm.crc;
    crc.init = crc.refout ? reflect(start, width_) : start;
    crc.xorout = xorout;
    const int digits = width_ / 4;
    algorithm.name = "CRC-" + std::to_string(width_) + " over polynomial " + hex_number(crc.poly, digits) +
                     (crc.refin ? ", reflected" : "") + ", init " + hex_number(crc.init, digits) +
                     ", xorout " + hex_number(crc.xorout, digits);
    return algorithm;
  }

  const SearchAlgorithm& algorithm_;
  ValueGroup group_;  // init and xorout 0
  int width_;
  std::vector<Equation> equations_;
};

// From behind the last byte before the coverage in which images differ, to the first one in it.
Range beginnings(const std::vector<ByteView>& images, Range coverage) {
  const auto differ = [&](std::uint64_t at) {
    const auto i = static_cast<std::size_t>(at);
    return std::ranges::any_of(images, [&](ByteView image) { return image[i] != images.front()[i]; });
  };
  Range range{coverage.begin, coverage.begin};
  while (range.begin > 0 && !differ(range.begin - 1)) --range.begin;
  while (range.end < coverage.end && !differ(range.end)) ++range.end;
  return range;
}

std::int64_t twin_in_all(const std::vector<ByteView>& images, const Hit& hit) {
  const SearchAlgorithm& algorithm = search_algorithms()[hit.algorithm];
  const std::int64_t pair = twin_of(images.front(), hit.slot, algorithm, hit.storage);
  const bool all = std::ranges::all_of(
      images, [&](ByteView image) { return twin_of(image, hit.slot, algorithm, hit.storage) == pair; });
  return all ? pair : 0;
}

}  // namespace

void solve_starts(const std::vector<ByteView>& images, std::vector<Candidate>& found) {
  std::map<std::tuple<std::size_t, Storage>, Family> families;
  for (Candidate& one : found) {
    if (one.hit.layout.own == Layout::Own::kOutside) {
      one.hit.layout.pair = twin_in_all(images, one.hit);
      if (one.hit.coverage.overlaps(one.hit.slot_range())) one.hit.layout.pair = 0;
    }
    one.may_begin = beginnings(images, one.hit.coverage);
    const auto [family, fresh] = families.try_emplace(std::tuple(one.hit.algorithm, one.hit.storage),
                                                      search_algorithms()[one.hit.algorithm]);
    family->second.add(one, images.front());
  }
  for (auto& [key, family] : families) family.solve();
}

}  // namespace calseal
