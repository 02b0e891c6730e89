// For one algorithm and all begins i at once the value of [i, j) is kept while j runs over the grid: a step
// appends one block to all of them, value = shift(value, block) plus of(block), which for a CRC is a linear
// map of the value, looked up byte by byte. Where a slot hangs on the end, the value that the range must have
// for the slot to be right is worked out once for j and compared with all i; where it hangs on the begin,
// once for i.
#include "calseal/study/pair_scan.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

namespace calseal {
namespace {

constexpr double kFreeRangeCost = 16;       // bits
constexpr double kFreeRangeCostOfTwo = 28;  // when a slot has to agree in two images

std::uint32_t load32(ByteView image, std::size_t at) {
  return std::uint32_t{image[at]} | std::uint32_t{image[at + 1]} << 8 | std::uint32_t{image[at + 2]} << 16 |
         std::uint32_t{image[at + 3]} << 24;
}

bool is_plain_word(std::uint32_t word) { return word == std::rotl(word, 8); }

template <typename Word>
class Scanner {
 public:
  Scanner(const PairScan& scan, std::size_t algorithm, const std::vector<RangeValues>& values,
          std::vector<Hit>& hits)
      : scan_(scan),
        index_(algorithm),
        algorithm_(search_algorithms()[algorithm]),
        values_(values),
        group_(values.front().group()),
        image_(scan.images->front()),
        grid_(scan.grid),
        storages_(storages_of(algorithm_)),
        hits_(hits) {
    if (group_.is_crc()) make_step();
  }

  void run() {
    choose_begins();
    plain_ = add_lane(Layout{});
    const bool in_two = algorithm_.size == 2 && scan_.pairs != nullptr;
    if (in_two) {
      second_ = lanes_.size();
      lanes_.push_back({Layout{}, std::vector<Word>(begins_.size(), 0), 1});
    }
    for (const Layout& layout : layouts_of(algorithm_, Layout::Anchor::kStart)) {
      if (layout.skip_begin % algorithm_.unit != 0) continue;
      const bool moves = layout.skip_begin != 0 || layout.own != Layout::Own::kOutside;
      const std::size_t lane = moves ? add_lane(layout) : plain_;
      for (const Storage& storage : storages_) add_start_target(layout, storage, lane);
    }
    const std::vector<Layout> ends = layouts_of(algorithm_, Layout::Anchor::kEnd);
    for (std::size_t j = 1; j < grid_.count(); ++j) {
      advance(j);
      compare_ends(ends, j);
      for (const StartTarget& target : starts_) compare_start(target, j);
      compare_rules(j);
      if (algorithm_.size >= 4 || in_two) look_up(j);
    }
  }

 private:
  struct Lane {
    Layout layout;
    std::vector<Word> values;  // by begin
    std::size_t image = 0;
  };
  struct StartTarget {
    Layout layout;
    Storage storage;
    std::size_t lane;
    std::vector<Word> wanted;  // by begin
    std::vector<bool> usable;
  };

  void choose_begins() {
    for (const std::size_t point : scan_.edges->ranked()) {
      if (begins_.size() == scan_.most_begins) break;
      if (point + 1 < grid_.count()) begins_.push_back(point);
    }
    std::ranges::sort(begins_);
  }

  void make_step() {
    for (std::size_t k = 0; k < sizeof(Word); ++k) {
      std::array<std::uint64_t, 8> bits{};
      for (std::size_t bit = 0; bit < 8; ++bit) {
        const std::uint64_t one = std::uint64_t{1} << (8 * k + bit);
        bits[bit] = (one & group_.mask()) != 0 ? group_.shift(one, grid_.step) : 0;
      }
      for (std::size_t byte = 0; byte < 256; ++byte) {
        std::uint64_t sum = 0;
        for (std::size_t bit = 0; bit < 8; ++bit) sum ^= (byte >> bit & 1) != 0 ? bits[bit] : 0;
        step_[k][byte] = static_cast<Word>(sum);
      }
    }
  }

  Word shifted(Word value) const {
    Word out = 0;
    for (std::size_t k = 0; k < sizeof(Word); ++k)
      out ^= step_[k][static_cast<std::uint8_t>(value >> (8 * k))];
    return out;
  }

  // Layouts that count the same bytes share one.
  std::size_t add_lane(const Layout& layout) {
    for (std::size_t i = 0; i < lanes_.size(); ++i) {
      const Layout& other = lanes_[i].layout;
      if (lanes_[i].image == 0 && other.skip_begin == layout.skip_begin && other.own == layout.own &&
          (layout.own == Layout::Own::kOutside || (other.slot == layout.slot && other.pair == layout.pair)))
        return i;
    }
    lanes_.push_back({layout, std::vector<Word>(begins_.size(), 0), 0});
    return lanes_.size() - 1;
  }

  ByteView view(Range range) const {
    return image_.subspan(static_cast<std::size_t>(range.begin), static_cast<std::size_t>(range.size()));
  }

  // The value after the first block of a range that begins at `point`.
  std::uint64_t entry(const Lane& lane, std::size_t point) const {
    const Layout& layout = lane.layout;
    const Range block{grid_.at(point) + layout.skip_begin, grid_.at(point + 1)};
    if (block.begin > block.end) return 0;
    const std::uint64_t init = group_.shift(group_.init(), block.size());
    if (layout.own == Layout::Own::kOutside)
      return group_.plus(init,
                         layout.skip_begin == 0 ? values_[lane.image].block(point) : group_.of(view(block)));
    Bytes counted(view(block).begin(), view(block).end());
    const std::uint64_t slot = static_cast<std::uint64_t>(layout.slot);
    for (std::uint64_t i = slot; i < slot + slot_bytes(layout) && i < counted.size(); ++i)
      counted[static_cast<std::size_t>(i)] = layout.own == Layout::Own::kAsZeros ? 0x00 : 0xff;
    return group_.plus(init, group_.of(counted));
  }

  std::uint64_t slot_bytes(const Layout& layout) const {
    return algorithm_.size * (layout.pair == 0 ? 1 : 2);
  }

  // All lanes get the block that ends at point j.
  void advance(std::size_t j) {
    const bool whole = grid_.at(j) - grid_.at(j - 1) == grid_.step;
    while (alive_ < begins_.size() && begins_[alive_] < j) ++alive_;
    const bool enters = alive_ > 0 && begins_[alive_ - 1] + 1 == j;
    const std::size_t old = enters ? alive_ - 1 : alive_;
    for (Lane& lane : lanes_) {
      Word* const value = lane.values.data();
      const std::uint64_t block = values_[lane.image].block(j - 1);
      if (group_.is_crc() && whole) {
        const Word add = static_cast<Word>(block);
        for (std::size_t i = 0; i < old; ++i) value[i] = shifted(value[i]) ^ add;
      } else if (group_.adds() && !group_.end_around()) {
        const Word add = static_cast<Word>(block), mask = static_cast<Word>(group_.mask());
        for (std::size_t i = 0; i < old; ++i) value[i] = static_cast<Word>((value[i] + add) & mask);
      } else {
        const std::uint64_t size = grid_.at(j) - grid_.at(j - 1);
        for (std::size_t i = 0; i < old; ++i)
          value[i] = static_cast<Word>(group_.plus(group_.shift(value[i], size), block));
      }
      if (enters) value[old] = static_cast<Word>(entry(lane, j - 1));
    }
  }

  // Begins whose value is `wanted`. Seldom any, so that they are counted first.
  template <typename Take>
  void equal(const std::vector<Word>& values, std::uint64_t wanted, const Take& take) const {
    const Word* const value = values.data();
    const Word word = static_cast<Word>(wanted);
    Word any = 0;
    for (std::size_t i = 0; i < alive_; ++i) any |= static_cast<Word>(value[i] == word);
    if (any == 0) return;
    for (std::size_t i = 0; i < alive_; ++i) {
      if (value[i] == word) take(i);
    }
  }

  std::uint64_t raw(std::uint64_t stored) const { return group_.normal(stored ^ group_.xorout()); }

  void compare_ends(const std::vector<Layout>& layouts, std::size_t j) {
    const std::uint64_t end = grid_.at(j);
    for (const Layout& layout : layouts) {
      const std::int64_t slot = static_cast<std::int64_t>(end) + layout.slot;
      if (layout.skip_end % algorithm_.unit != 0) continue;
      if (slot < 32 || !fits_in(slot, layout)) continue;
      // How the range's value over whole blocks differs from that over what is covered.
      std::uint64_t change = 0;
      const Range tail{end - layout.skip_end, end};
      if (layout.own != Layout::Own::kOutside) {
        const Range window{end - std::min<std::uint64_t>(end, 32), end};
        if (window.begin % algorithm_.unit != 0) continue;
        const ByteView real = view(window);
        Bytes counted(real.begin(), real.end());
        const std::int64_t low = std::min(slot, slot + layout.pair);
        std::fill_n(
            counted.begin() + static_cast<std::ptrdiff_t>(low - static_cast<std::int64_t>(window.begin)),
            slot_bytes(layout), layout.own == Layout::Own::kAsZeros ? 0x00 : 0xff);
        change = group_.minus(group_.of(real), group_.of(counted));
      } else if (layout.skip_end != 0) {
        change = group_.of(view(tail));
      }
      for (const Storage& storage : storages_) {
        const Stored stored = stored_at(image_, static_cast<std::uint64_t>(slot), algorithm_, storage);
        if (!stored.fits || stored.blank) continue;
        const std::uint64_t wanted = group_.plus(group_.shift(raw(stored.value), layout.skip_end), change);
        equal(lanes_[plain_].values, wanted,
              [&](std::size_t i) { keep(layout, storage, i, j, static_cast<std::uint64_t>(slot)); });
      }
    }
  }

  bool fits_in(std::int64_t slot, const Layout& layout) const {
    const std::int64_t low = std::min(slot, slot + layout.pair);
    return low >= 0 && static_cast<std::uint64_t>(low) + slot_bytes(layout) <= image_.size();
  }

  void add_start_target(const Layout& layout, const Storage& storage, std::size_t lane) {
    StartTarget target{layout, storage, lane, std::vector<Word>(begins_.size(), 0),
                       std::vector<bool>(begins_.size())};
    bool any = false;
    for (std::size_t i = 0; i < begins_.size(); ++i) {
      const std::int64_t slot = static_cast<std::int64_t>(grid_.at(begins_[i])) + layout.slot;
      if (!fits_in(slot, layout)) continue;
      const Stored stored = stored_at(image_, static_cast<std::uint64_t>(slot), algorithm_, storage);
      if (!stored.fits || stored.blank) continue;
      target.usable[i] = any = true;
      target.wanted[i] = static_cast<Word>(raw(stored.value));
    }
    if (any) starts_.push_back(std::move(target));
  }

  void compare_start(const StartTarget& target, std::size_t j) {
    const Word* const value = lanes_[target.lane].values.data();
    const Word* const wanted = target.wanted.data();
    Word any = 0;
    for (std::size_t i = 0; i < alive_; ++i) any |= static_cast<Word>(value[i] == wanted[i]);
    if (any == 0) return;
    for (std::size_t i = 0; i < alive_; ++i) {
      if (value[i] != wanted[i] || !target.usable[i]) continue;
      const std::int64_t slot = static_cast<std::int64_t>(grid_.at(begins_[i])) + target.layout.slot;
      keep(target.layout, target.storage, i, j, static_cast<std::uint64_t>(slot));
    }
  }

  void compare_rules(std::size_t j) {
    if (algorithm_.by_difference) return;  // what a CRC of unknown init should be is unknown too
    Layout layout;
    layout.anchor = Layout::Anchor::kRule;
    std::array<std::uint64_t, 3> constants = {0, group_.mask(), 0};
    std::size_t count = group_.end_around() ? 1 : 2;
    if (group_.is_crc()) constants[count++] = Crc(algorithm_.algorithm.crc).residue() ^ group_.xorout();
    for (std::size_t k = 0; k < count; ++k) {
      if (std::find(constants.begin(), constants.begin() + static_cast<std::ptrdiff_t>(k), constants[k]) !=
          constants.begin() + static_cast<std::ptrdiff_t>(k))
        continue;
      equal(lanes_[plain_].values, raw(constants[k]),
            [&](std::size_t i) { keep(layout, {}, i, j, 0, constants[k]); });
    }
  }

  // A finished value, as the storage writes it.
  std::uint64_t written(std::uint64_t finished, const Storage& storage) const {
    return storage.transform == SlotTransform::kPlain        ? finished
           : storage.transform == SlotTransform::kComplement ? ~finished & group_.mask()
                                                             : (0 - finished) & group_.mask();
  }

  // The first four bytes that stand where the value stands; of two images, two of each.
  std::uint32_t key_of(std::size_t i, const Storage& storage) const {
    const std::uint64_t word = written(lanes_[plain_].values[i] ^ group_.xorout(), storage);
    const bool little = storage.order == ByteOrder::kLittle;
    if (algorithm_.size > 2) {
      const int width = static_cast<int>(algorithm_.size * 8);
      return little ? static_cast<std::uint32_t>(word)
                    : __builtin_bswap32(static_cast<std::uint32_t>(word >> (width - 32)));
    }
    const std::uint64_t other = written(lanes_[second_].values[i] ^ group_.xorout(), storage);
    const auto both = static_cast<std::uint32_t>(word | other << 16);
    return little ? both : (both & 0x00ff00ff) << 8 | (both >> 8 & 0x00ff00ff);
  }

  // The value, as each storage would have it, wherever it stands.
  void look_up(std::size_t j) {
    Layout layout;
    layout.anchor = Layout::Anchor::kFree;
    const WordIndex& index = algorithm_.size > 2 ? *scan_.words : *scan_.pairs;
    const std::vector<bool>& likely = (*scan_.likely)[j];
    for (std::size_t i = 0; i < alive_; ++i) {
      // A place anywhere is dear: only ranges whose edges show can pay for it.
      if (!likely[begins_[i]]) continue;
      for (const Storage& storage : storages_) {
        index.find(key_of(i, storage), [&](std::uint64_t at) {
          if (at + algorithm_.size > image_.size()) return;
          const Range coverage{grid_.at(begins_[i]), grid_.at(j)};
          // Its own slot cannot count as it is.
          if (coverage.overlaps({at, at + algorithm_.size})) return;
          layout.pair = algorithm_.by_difference ? 0 : twin_of(image_, at, algorithm_, storage);
          keep(layout, storage, i, j, at);
        });
      }
    }
  }

  void keep(const Layout& layout, const Storage& storage, std::size_t begin, std::size_t end,
            std::uint64_t slot, std::uint64_t equals = 0) {
    Hit hit;
    hit.algorithm = index_;
    hit.layout = layout;
    hit.storage = storage;
    hit.range = {grid_.at(begins_[begin]), grid_.at(end)};
    hit.coverage = {hit.range.begin + layout.skip_begin, hit.range.end - layout.skip_end};
    hit.slot = slot;
    hit.equals = equals;
    if (hit.coverage.begin + 32 >= hit.coverage.end) return;
    for (std::size_t k = 0; k < scan_.images->size(); ++k) {
      if (!holds_in(values_[k], (*scan_.images)[k], hit)) return;
    }
    hits_.push_back(hit);
  }

  const PairScan& scan_;
  std::size_t index_;
  const SearchAlgorithm& algorithm_;
  const std::vector<RangeValues>& values_;
  const ValueGroup& group_;
  ByteView image_;
  Grid grid_;
  std::vector<Storage> storages_;
  std::vector<Hit>& hits_;
  std::vector<std::size_t> begins_;     // points, ascending
  std::size_t alive_ = 0;               // begins before the present end
  std::size_t plain_ = 0, second_ = 0;  // lanes: the first image's ranges as they are, the second's
  std::vector<Lane> lanes_;
  std::vector<StartTarget> starts_;
  std::array<std::array<Word, 256>, sizeof(Word)> step_{};
};

}  // namespace

std::vector<std::vector<bool>> likely_ranges(const Edges& edges, const Grid& grid, std::size_t images) {
  const double most = images > 1 ? kFreeRangeCostOfTwo : kFreeRangeCost;
  std::vector<std::vector<bool>> likely(grid.count());
  for (std::size_t end = 1; end < grid.count(); ++end) {
    likely[end].resize(end);
    for (std::size_t begin = 0; begin < end; ++begin)
      likely[end][begin] = edges.begin_cost(begin) <= most && edges.range_cost(begin, end) <= most;
  }
  return likely;
}

WordIndex::WordIndex(ByteView image) : filter_(std::size_t{1} << 18) {
  for (std::size_t at = 0; at + 4 <= image.size(); at += 4) {
    const std::uint32_t word = load32(image, at);
    if (!is_plain_word(word)) entries_.push_back({word, static_cast<std::uint32_t>(at)});
  }
  build();
}

WordIndex::WordIndex(ByteView first, ByteView second) : filter_(std::size_t{1} << 18) {
  for (std::size_t at = 0; at + 2 <= std::min(first.size(), second.size()); at += 2) {
    const std::uint32_t word = std::uint32_t{first[at]} | std::uint32_t{first[at + 1]} << 8 |
                               std::uint32_t{second[at]} << 16 | std::uint32_t{second[at + 1]} << 24;
    if (!is_plain_word(word)) entries_.push_back({word, static_cast<std::uint32_t>(at)});
  }
  build();
}

void WordIndex::build() {
  const auto hash = [](std::uint32_t word) { return word * 0x9e3779b1U; };
  std::ranges::sort(entries_, [&](const Entry& a, const Entry& b) {
    return std::pair(hash(a.word), a.at) < std::pair(hash(b.word), b.at);
  });
  std::vector<Entry> few;
  for (std::size_t i = 0; i < entries_.size();) {
    std::size_t j = i;
    while (j < entries_.size() && entries_[j].word == entries_[i].word) ++j;
    if (j - i <= kMost)
      few.insert(few.end(), entries_.begin() + static_cast<std::ptrdiff_t>(i),
                 entries_.begin() + static_cast<std::ptrdiff_t>(j));
    i = j;
  }
  entries_ = std::move(few);
  const int bits = std::clamp(static_cast<int>(std::bit_width(entries_.size())), 4, 22);
  shift_ = 32 - bits;
  starts_.assign((std::size_t{1} << bits) + 1, 0);
  for (const Entry& entry : entries_) {
    const std::uint32_t h = hash(entry.word);
    filter_[h >> 14] |= 1U << ((h >> 9) & 31);
    ++starts_[(h >> shift_) + 1];
  }
  for (std::size_t i = 1; i < starts_.size(); ++i) starts_[i] += starts_[i - 1];
}

void scan_pairs(const PairScan& scan, std::size_t algorithm, const std::vector<RangeValues>& values,
                std::vector<Hit>& hits) {
  if (search_algorithms()[algorithm].bits <= 32) {
    Scanner<std::uint32_t>(scan, algorithm, values, hits).run();
  } else {
    Scanner<std::uint64_t>(scan, algorithm, values, hits).run();
  }
}

}  // namespace calseal
