// Two or more reads of one controller: whether they differ in volatile bytes only, and the right byte by
// majority.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/change/compare.h"
#include "calseal/map/verify.h"

namespace calseal {

struct Vote {
  std::vector<bool>
      compared;  // by read: false for one that knows other bytes than the fullest; it has no vote
  // Differences of any read from the first, pinned or binding: bytes that should not move. By address.
  std::vector<ChangedRange> disagreements;
  std::uint64_t volatile_bytes = 0;     // that differ somewhere; expected
  std::uint64_t unanimous = 0;          // pinned or binding bytes that all reads agree on
  std::uint64_t outvoted = 0;           // bytes with a majority against a minority
  std::uint64_t tied = 0;               // bytes without a majority: nothing is decided there
  std::vector<std::uint64_t> minority;  // by read: how often it was outvoted

  // Expected number of bytes on which a majority agrees on one and the same wrong value, when errors of reads
  // are independent and a wrong byte takes each of 255 values alike. Rate of errors from `minority`, and one
  // error more than was seen. Not defined for fewer than three reads. A fault that all reads share (a stuck
  // line, a protected block) is not independent: only the checks speak about it.
  std::optional<double> wrong_expected;

  std::optional<Image> image;        // three or more reads and no tie: the voted read
  std::vector<CheckOutcome> checks;  // of `image`
  bool only_volatile() const { return disagreements.empty(); }
};

// `reads` are at least two images of the map. Pinned and binding bytes are voted on by the reads that know
// the same bytes as the one that knows most; volatile and floating bytes belong together and come whole from
// the last of these. Descriptor tables are taken as the majority has them. kReadIncomplete when only one read
// knows as much, and the reasons of make_plan().
Result<Vote> vote_reads(const RegionMap& map, const std::vector<const Image*>& reads);

}  // namespace calseal
