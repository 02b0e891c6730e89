#include "calseal/study/search_hit.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace calseal {
namespace {

// Their shares sum to at most 1, whatever the slot's size.
constexpr double kCostMain = 4.3;     // eight of them
constexpr double kCostTrailer = 5.6;  // six
constexpr double kCostOther = 7.6;    // fifty
constexpr double kCostFree = 2.5;     // and then where
constexpr double kCostRecord = 7.5;   // and then where
constexpr double kCostRule = 6.5;

std::uint64_t word_at(ByteView image, std::uint64_t at, std::size_t size, ByteOrder order) {
  std::uint64_t word = 0;
  for (std::size_t i = 0; i < size; ++i) {
    const std::size_t from = order == ByteOrder::kBig ? i : size - 1 - i;
    word = word << 8 | image[static_cast<std::size_t>(at) + from];
  }
  return word;
}

}  // namespace

double layout_cost(const Layout& layout, std::size_t size) {
  using Anchor = Layout::Anchor;
  if (layout.anchor == Anchor::kFree) return kCostFree;
  if (layout.anchor == Anchor::kRecord) return kCostRecord;
  if (layout.anchor == Anchor::kRule) return kCostRule;
  if (layout.pair != 0) return kCostOther;
  // At either end of the range, not covered or covered as a constant; right before or behind it.
  const std::uint64_t skip = layout.skip_begin + layout.skip_end;
  const auto slot_size = static_cast<std::int64_t>(size);
  const std::int64_t at_end = layout.anchor == Anchor::kEnd ? -slot_size : 0;
  const std::int64_t beside = layout.anchor == Anchor::kEnd ? 0 : -slot_size;
  if ((layout.slot == at_end && (skip == size || layout.own != Layout::Own::kOutside)) ||
      (layout.slot == beside && skip == 0 && layout.own == Layout::Own::kOutside))
    return kCostMain;
  // First in a header or trailer.
  const bool first =
      layout.anchor == Anchor::kEnd ? skip == static_cast<std::uint64_t>(-layout.slot) : layout.slot == 0;
  return first && skip != 0 ? kCostTrailer : kCostOther;
}

namespace {

// Layouts of one slot size, none of them twice.
class LayoutList {
 public:
  LayoutList(std::size_t size, Layout::Anchor anchor) : size_(size), anchor_(anchor) {}

  std::vector<Layout> all() {
    if (anchor_ == Layout::Anchor::kFree || anchor_ == Layout::Anchor::kRule) add(0, 0);
    if (anchor_ == Layout::Anchor::kEnd) add_at_end();
    if (anchor_ == Layout::Anchor::kStart) add_at_start();
    return std::move(list_);
  }

 private:
  using Own = Layout::Own;

  void add(std::uint64_t skip, std::int64_t slot, Own own = Own::kOutside, std::int64_t pair = 0) {
    Layout layout;
    layout.anchor = anchor_;
    (anchor_ == Layout::Anchor::kStart ? layout.skip_begin : layout.skip_end) = skip;
    layout.slot = slot;
    layout.own = own;
    layout.pair = pair;
    if (std::ranges::find(list_, layout) == list_.end()) list_.push_back(layout);
  }

  void add_at_end() {
    const auto s = static_cast<std::int64_t>(size_);
    add(size_, -s);
    add(0, 0);
    add(0, -s, Own::kAsZeros);
    add(0, -s, Own::kAsOnes);
    add(2 * size_, -2 * s, Own::kOutside, s);
    add(2 * size_, -s, Own::kOutside, -s);
    add(0, -2 * s, Own::kAsZeros, s);
    add(0, -2 * s, Own::kAsOnes, s);
    if (size_ == 1) return;
    const std::int64_t word = std::max<std::int64_t>(s, 4);
    for (const std::uint64_t trailer : {std::uint64_t{4}, std::uint64_t{8}, std::uint64_t{16}}) {
      if (trailer <= size_) continue;
      // On the trailer's own words, or last in it.
      for (std::int64_t back = s; back <= static_cast<std::int64_t>(trailer);
           back = back / word * word + word) {
        add(trailer, -back);
        add(0, -back, Own::kAsZeros);
        add(0, -back, Own::kAsOnes);
      }
    }
  }

  void add_at_start() {
    const auto s = static_cast<std::int64_t>(size_);
    add(size_, 0);
    add(0, -s);
    add(0, 0, Own::kAsZeros);
    add(0, 0, Own::kAsOnes);
    add(2 * size_, 0, Own::kOutside, s);
    if (size_ == 1) return;
    for (const std::uint64_t header : {std::uint64_t{4}, std::uint64_t{8}, std::uint64_t{16}}) {
      if (header <= size_) continue;
      for (std::int64_t in = 0; in + s <= static_cast<std::int64_t>(header);
           in += std::max<std::int64_t>(s, 4)) {
        add(header, in);
        add(0, in, Own::kAsZeros);
        add(0, in, Own::kAsOnes);
      }
    }
  }

  std::uint64_t size_;
  Layout::Anchor anchor_;
  std::vector<Layout> list_;
};

}  // namespace

std::vector<Layout> layouts_of(std::size_t size, Layout::Anchor anchor) {
  return LayoutList(size, anchor).all();
}

std::vector<Layout> layouts_of(const SearchAlgorithm& algorithm, Layout::Anchor anchor) {
  std::vector<Layout> list = layouts_of(algorithm.size, anchor);
  if (algorithm.by_difference)
    std::erase_if(list, [](const Layout& one) { return one.own == Layout::Own::kAsOnes || one.pair != 0; });
  return list;
}

double storage_cost(const Storage& storage) {
  return storage.transform == SlotTransform::kPlain        ? 1.5
         : storage.transform == SlotTransform::kComplement ? 3.5
                                                           : 4.5;
}

std::vector<Storage> storages_of(const SearchAlgorithm& algorithm) {
  std::vector<Storage> list;
  for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
    if (algorithm.size == 1 && order == ByteOrder::kBig) break;
    list.push_back({order, SlotTransform::kPlain});
    if (algorithm.by_difference) continue;
    list.push_back({order, SlotTransform::kComplement});
    // A negated exclusive or is nobody's practice, nor is a negated CRC.
    if (algorithm.algorithm.kind == AlgorithmKind::kSum &&
        algorithm.algorithm.sum.operation == SumOperation::kAdd)
      list.push_back({order, SlotTransform::kNegate});
  }
  return list;
}

Range Hit::slot_range() const {
  if (!has_slot()) return {0, 0};
  Range all{slot, slot + size()};
  if (layout.pair < 0) all.begin -= size();
  if (layout.pair > 0) all.end += size();
  return all;
}

Stored stored_at(ByteView image, std::uint64_t at, const SearchAlgorithm& algorithm, const Storage& storage) {
  const std::uint64_t word = word_at(image, at, algorithm.size, storage.order);
  const std::uint64_t mask = low_mask(algorithm.bits);
  Stored stored;
  stored.blank = word == 0 || word == low_mask(static_cast<int>(algorithm.size * 8));
  stored.fits = (word & ~mask) == 0;
  stored.value = storage.transform == SlotTransform::kPlain        ? word
                 : storage.transform == SlotTransform::kComplement ? ~word & mask
                                                                   : (0 - word) & mask;
  return stored;
}

std::int64_t twin_of(ByteView image, std::uint64_t slot, const SearchAlgorithm& algorithm,
                     const Storage& storage) {
  const std::uint64_t mask = low_mask(algorithm.bits);
  const std::uint64_t value = stored_at(image, slot, algorithm, storage).value;
  const auto size = static_cast<std::int64_t>(algorithm.size);
  for (const std::int64_t pair : {size, -size}) {
    const std::int64_t at = static_cast<std::int64_t>(slot) + pair;
    if (at < 0 || static_cast<std::uint64_t>(at) + algorithm.size > image.size()) continue;
    if (stored_at(image, static_cast<std::uint64_t>(at), algorithm, storage).value == (~value & mask))
      return pair;
  }
  return 0;
}

bool says_only_balance(const Hit& hit) {
  const Algorithm& algorithm = search_algorithms()[hit.algorithm].algorithm;
  if (algorithm.kind != AlgorithmKind::kSum || !hit.has_slot() || hit.layout.pair != 0) return false;
  if (algorithm.sum.unit != algorithm.sum.accumulator) return false;
  const Range slot = hit.slot_range();
  if (slot.begin > hit.coverage.end || slot.end < hit.coverage.begin) return false;
  if (algorithm.sum.unit > 8 && hit.storage.order != algorithm.sum.order) return false;
  return algorithm.sum.operation == SumOperation::kXor || hit.storage.transform != SlotTransform::kPlain;
}

bool gives_constant(const Hit& hit) {
  if (!hit.has_slot() || says_only_balance(hit)) return true;
  const Algorithm& algorithm = search_algorithms()[hit.algorithm].algorithm;
  // A CRC behind its message, in the order of its bits, leaves the residue.
  return algorithm.kind == AlgorithmKind::kCrc && hit.layout.pair == 0 &&
         hit.layout.own == Layout::Own::kOutside && hit.slot == hit.coverage.end &&
         algorithm.crc.width % 8 == 0 && algorithm.crc.refin == (hit.storage.order == ByteOrder::kLittle);
}

std::uint64_t value_over(const RangeValues& values, ByteView image, const Hit& hit) {
  if (hit.layout.own == Layout::Own::kOutside) return values.value(hit.coverage);
  const ValueGroup& group = values.group();
  const Range slot = hit.slot_range();
  // The few words around the slot, once as they are and once as they count.
  Range window{std::max(hit.coverage.begin, slot.begin / 16 * 16),
               std::min(hit.coverage.end, (slot.end + 15) / 16 * 16)};
  const ByteView real =
      image.subspan(static_cast<std::size_t>(window.begin), static_cast<std::size_t>(window.size()));
  Bytes counted(real.begin(), real.end());
  const Range inside = intersect(slot, window);
  std::fill_n(counted.begin() + static_cast<std::ptrdiff_t>(inside.begin - window.begin), inside.size(),
              hit.layout.own == Layout::Own::kAsZeros ? 0x00 : 0xff);
  const std::uint64_t change = group.minus(group.of(counted), group.of(real));
  const std::uint64_t raw = group.normal(values.value(hit.coverage) ^ group.xorout());
  return group.plus(raw, group.shift(change, hit.coverage.end - window.end)) ^ group.xorout();
}

bool holds_in(const RangeValues& values, ByteView image, const Hit& hit) {
  const SearchAlgorithm& algorithm = search_algorithms()[hit.algorithm];
  const ValueGroup& group = values.group();
  const std::uint64_t value = value_over(values, image, hit);
  if (!hit.has_slot()) return group.normal(value) == group.normal(hit.equals);
  const Stored stored = stored_at(image, hit.slot, algorithm, hit.storage);
  if (!stored.fits || stored.blank || group.normal(stored.value) != group.normal(value)) return false;
  if (hit.layout.pair == 0) return true;
  const auto twin_at = static_cast<std::uint64_t>(static_cast<std::int64_t>(hit.slot) + hit.layout.pair);
  const Stored twin = stored_at(image, twin_at, algorithm, hit.storage);
  return twin.value == (~stored.value & low_mask(algorithm.bits));
}

HitEvidence::HitEvidence(ByteView image) : image_(image) {
  std::uint32_t count = 0;
  for (std::size_t i = 0; i < image.size(); ++i) {
    if (i % 64 == 0) changes_.push_back(count);
    count += i != 0 && image[i] != image[i - 1] ? 1 : 0;
  }
  changes_.push_back(count);
  for (const int order : {0, 1}) {
    top_[order].assign(65536, 0);
    top16_[order].assign(256, 0);
  }
  for (std::size_t i = 0; i + 4 <= image.size(); i += 4) {
    ++top_[0][static_cast<std::size_t>(image[i + 3] << 8 | image[i + 2])];
    ++top_[1][static_cast<std::size_t>(image[i] << 8 | image[i + 1])];
    ++top16_[0][image[i + 1]];
    ++top16_[1][image[i]];
  }
  words_ = std::max(1.0, static_cast<double>(image.size() / 4));
}

std::uint64_t HitEvidence::changes(Range range) const {
  const auto from = static_cast<std::size_t>((range.begin + 63) / 64),
             to = static_cast<std::size_t>(range.end / 64);
  return from < to ? changes_[to] - changes_[from] : 0;
}

double HitEvidence::density32(std::uint64_t value, ByteOrder order) const {
  const auto top = static_cast<std::size_t>((value >> 16) & 0xffff);
  return (top_[order == ByteOrder::kBig ? 1 : 0][top] + 1.0) / words_;
}

double HitEvidence::density16(std::uint64_t value, ByteOrder order) const {
  const auto top = static_cast<std::size_t>((value >> 8) & 0xff);
  return (top16_[order == ByteOrder::kBig ? 1 : 0][top] + 1.0) / words_;
}

double HitEvidence::of(const SearchAlgorithm& algorithm, const Hit& hit, std::uint64_t stored_value) const {
  double bits = algorithm.bits;
  if (algorithm.algorithm.kind == AlgorithmKind::kSum && hit.has_slot()) {
    const std::uint64_t word = stored_value;
    if (algorithm.size == 2) bits = std::min(bits, 8 - std::log2(density16(word, hit.storage.order)));
    if (algorithm.size == 4) bits = std::min(bits, 16 - std::log2(density32(word, hit.storage.order)));
    if (algorithm.size == 8) bits = std::min(bits, 48 - std::log2(density32(word >> 32, hit.storage.order)));
    // Small numbers are likelier than large ones, by and large as their logarithms are even.
    const double least = std::log2(static_cast<double>(word | 1)) + 4;
    if (algorithm.algorithm.sum.operation == SumOperation::kAdd) bits = std::min(bits, least);
  }
  // The complemented twin agrees by itself as well.
  if (hit.layout.pair != 0) bits *= 2;
  // Little content has little to say, however long the value; in a sum of a table's entries still less, since
  // what repeats cancels or counts up.
  const double share = algorithm.algorithm.kind == AlgorithmKind::kSum ? 16 : 4;
  return std::min(bits, static_cast<double>(changes(hit.coverage)) / share);
}

}  // namespace calseal
