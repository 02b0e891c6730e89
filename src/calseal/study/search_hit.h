// What a search for checksums finds: one value that stands where one algorithm over one range puts it.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/map/region_map.h"
#include "calseal/study/range_values.h"

namespace calseal {

// Where the value stands, and how much of a range is covered.
struct Layout {
  enum class Anchor : std::uint8_t {
    kEnd,     // `slot` counts from the range's end
    kStart,   // from its begin
    kFree,    // anywhere
    kRecord,  // from the descriptor record that names the range
    kRule     // nowhere: the value over the range is 0, all ones, or the CRC's residue
  };
  enum class Own : std::uint8_t { kOutside, kAsZeros, kAsOnes };  // how the slot's own bytes count
  Anchor anchor = Anchor::kEnd;
  std::uint64_t skip_begin = 0, skip_end = 0;  // bytes of the range that are not covered
  std::int64_t slot = 0;
  Own own = Own::kOutside;
  std::int64_t pair = 0;  // where the complemented value stands, from the slot; 0: nowhere
  friend auto operator<=>(const Layout&, const Layout&) = default;
};

// Bits that it takes to name a layout of a slot of `size` bytes; the sum of 2^-cost over all is below 1.
double layout_cost(const Layout& layout, std::size_t size);
// All layouts for a slot of `size` bytes with this anchor; kFree, kRule: one.
std::vector<Layout> layouts_of(std::size_t size, Layout::Anchor anchor);

// How a value stands in its slot.
struct Storage {
  ByteOrder order = ByteOrder::kLittle;
  SlotTransform transform = SlotTransform::kPlain;  // plain, complement, negate
  friend auto operator<=>(const Storage&, const Storage&) = default;
};
double storage_cost(const Storage& storage);
std::vector<Storage> storages_of(const SearchAlgorithm& algorithm);
// What differences can show of them: a slot counted as ff is one counted as 00 to them, and a complement
// none.
std::vector<Layout> layouts_of(const SearchAlgorithm& algorithm, Layout::Anchor anchor);

struct Hit {
  std::size_t algorithm = 0;  // into search_algorithms()
  Layout layout;
  Storage storage;
  Range range;               // between grid points, or as a descriptor record says
  Range coverage;            // of the range what is covered; offsets in the image
  std::uint64_t slot = 0;    // offset; not of a rule
  std::uint64_t equals = 0;  // of a rule
  std::size_t table = 0;     // into the tables found, for kRecord and what stands beside a record's range
  bool from_table = false;
  double evidence = 0;      // bits that agree and need not have
  std::size_t support = 1;  // images that speak for it, each for itself
  std::size_t size() const { return search_algorithms()[algorithm].size; }
  bool has_slot() const { return layout.anchor != Layout::Anchor::kRule; }
  // Slot, and its complemented twin.
  Range slot_range() const;
};

// The value that a stored word stands for, or ~0 with `fits` false when bits above the value are set.
struct Stored {
  std::uint64_t value = 0;
  bool fits = false;
  bool blank = false;  // all 00 or all ff: says nothing
};
Stored stored_at(ByteView image, std::uint64_t at, const SearchAlgorithm& algorithm, const Storage& storage);

// Where the complemented value stands beside a slot, counted from it; 0: nowhere.
std::int64_t twin_of(ByteView image, std::uint64_t slot, const SearchAlgorithm& algorithm,
                     const Storage& storage);
// The hit says no more than that the words of coverage and slot give a constant: any word among them might be
// the slot.
bool says_only_balance(const Hit& hit);

// Whether the hit gives a constant over coverage and slot: then it also says what any longer range lacks.
bool gives_constant(const Hit& hit);

// The algorithm's value over the hit's coverage in an image.
std::uint64_t value_over(const RangeValues& values, ByteView image, const Hit& hit);
// Whether the hit's value stands where it should, complemented twin included.
bool holds_in(const RangeValues& values, ByteView image, const Hit& hit);

// How many bits a match is worth. A CRC over anything is as good as random. A sum is not: small numbers stand
// everywhere, so a match is worth what the image's own words say about such values.
class HitEvidence {
 public:
  explicit HitEvidence(ByteView image);
  double of(const SearchAlgorithm& algorithm, const Hit& hit, std::uint64_t stored_value) const;
  // How much there is in a range: bytes that differ from their predecessor.
  std::uint64_t changes(Range range) const;
  // Share of 4-byte words, in `order`, that begin with these two bytes; and of 2-byte words with this one.
  double density32(std::uint64_t value, ByteOrder order) const;
  double density16(std::uint64_t value, ByteOrder order) const;

 private:
  ByteView image_;
  std::vector<std::uint32_t> changes_;  // up to every 64th byte
  std::vector<std::uint32_t> top_[2];   // [order][upper half of a 4-byte word]
  std::vector<std::uint32_t> top16_[2];
  double words_ = 1;
};

// A search may take seconds: told how far it is, from 0 to 1, and asked whether to go on.
using SearchProgress = std::function<bool(double)>;

}  // namespace calseal
