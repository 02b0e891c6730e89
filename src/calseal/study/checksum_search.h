// The search for checksums in images that nobody has described: by descriptor tables inside the image, and by
// computation over all ranges of a grid. docs/drafting.md says how, at what cost, and what its numbers mean.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/study/search_hit.h"
#include "calseal/study/table_scan.h"

namespace calseal {

inline constexpr std::uint64_t kSearchGrid = 4096;  // bytes
inline constexpr std::uint64_t kSearchGridLeast = 256;
inline constexpr double kSearchNeeded = 5;  // bits a find must be worth: chance below 1 in 32

struct ChecksumSearch {
  std::vector<ByteView> images;  // at least one, all of one size, at least 512 bytes
  std::uint64_t grid = kSearchGrid;
  std::vector<std::uint64_t> origins;  // addresses at which the image may begin
  bool tables = true;
  bool computation = true;
  SearchProgress progress;  // may be empty
};

struct Candidate {
  Hit hit;
  double worth = 0;          // bits: what agrees, less what it takes to describe
  double chance = 1;         // that something described so shortly agrees by chance: 2^-worth, at most 1
  std::size_t images = 1;    // in how many images with different content it holds
  std::vector<Hit> also;     // of the same slot: what fits nearly as shortly
  std::vector<Hit> slots;    // further places of the same value
  bool slot_varies = false;  // every slot was seen to change along with what it covers
  // A one's complement sum of 16 bits is also the lower half of longer checksums, of which the rest stands
  // beside it.
  bool may_be_half() const {
    const Algorithm& sum = search_algorithms()[hit.algorithm].algorithm;
    return sum.kind == AlgorithmKind::kSum && sum.sum.operation == SumOperation::kAddEndAround &&
           hit.size() == 2;
  }
  // Correction may write it without anybody's word.
  bool is_seen() const { return slot_varies && !may_be_half(); }
  // Of a find by difference: the algorithm with an init and xorout that fit.
  std::optional<Algorithm> solved;
  // Finds over ranges of different lengths have these very parameters; else another length needs others.
  bool start_is_known = false;
  // Of a find by difference: the coverage begins somewhere here, the images do not say where.
  Range may_begin;
  // Where the coverage ends at the least, when unused space behind it changes nothing: it may end anywhere
  // from there to where something begins. The furthest is taken.
  std::uint64_t least_end = 0;
  const Algorithm& algorithm() const {
    return solved ? *solved : search_algorithms()[hit.algorithm].algorithm;
  }
};

struct SearchOutcome {
  std::vector<Candidate> found;  // worth kSearchNeeded or more, by slot
  std::vector<Candidate>
      uncertain;  // the best of what is not, likeliest first; not in the way of what is found
  std::vector<TableFound> tables;  // that found candidates refer to
  std::uint64_t agreements = 0;    // raw matches, nearly all by chance
  std::size_t algorithms_tried = 0, algorithms = 0;
  bool is_whole() const { return algorithms_tried == algorithms; }
};

// On two threads. With two images and more, CRCs of known polynomials and unknown init and xorout are looked
// for by differences as well. When `progress` says stop, what was tried until then is judged. Every candidate
// was computed again from the bytes of every image.
SearchOutcome search_checksums(const ChecksumSearch& search);

}  // namespace calseal
