// Checksums by computation: every range between two grid points, one algorithm at a time.
#pragma once

#include <cstdint>
#include <unordered_map>
#include <vector>

#include "calseal/study/edges.h"
#include "calseal/study/range_values.h"
#include "calseal/study/search_hit.h"

namespace calseal {

// All four-byte words of an image at multiples of four, found by value; words of one repeated byte, and those
// that occur more than a few times, are left out. Of two images: the two-byte words at multiples of two, that
// of the first image and behind it that of the second.
class WordIndex {
 public:
  explicit WordIndex(ByteView image);
  WordIndex(ByteView first, ByteView second);
  // Offsets where these four bytes stand (first byte lowest); at most kMost.
  template <typename Take>
  void find(std::uint32_t word, const Take& take) const {
    const std::uint32_t hash = word * 0x9e3779b1U;
    if ((filter_[hash >> 14] & (1U << ((hash >> 9) & 31))) == 0) return;
    const std::size_t bucket = hash >> shift_;
    for (std::uint32_t i = starts_[bucket]; i < starts_[bucket + 1]; ++i) {
      if (entries_[i].word == word) take(std::uint64_t{entries_[i].at});
    }
  }
  static constexpr std::size_t kMost = 4;

 private:
  struct Entry {
    std::uint32_t word, at;
  };
  void build();
  std::vector<std::uint32_t> filter_;  // one bit per hash
  std::vector<std::uint32_t> starts_;
  std::vector<Entry> entries_;
  int shift_ = 0;
};

// What all algorithms share.
struct PairScan {
  const std::vector<ByteView>* images = nullptr;  // all of one size, at least one
  Grid grid;
  const Edges* edges = nullptr;
  const WordIndex* words = nullptr;  // of the first image
  const WordIndex* pairs = nullptr;  // of the first two, where there are two
  std::size_t most_begins = 0;       // ranges begin at the likeliest so many points
  // By end: whether a range from each begin is likely enough to pay for a slot anywhere.
  const std::vector<std::vector<bool>>* likely = nullptr;
};

// Ranges whose edges cost no more than what leaves a slot anywhere, in so many images, something to say.
std::vector<std::vector<bool>> likely_ranges(const Edges& edges, const Grid& grid, std::size_t images);

// Appends the hits of one algorithm that hold in all images. `values` are those of the algorithm for each
// image. O(begins * points) steps of a few nanoseconds.
void scan_pairs(const PairScan& scan, std::size_t algorithm, const std::vector<RangeValues>& values,
                std::vector<Hit>& hits);

}  // namespace calseal
