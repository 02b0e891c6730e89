// Where a checksum of a known software lies in another one of its family, told by its own value: of the
// places that come into question, those at which it holds.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// A place of a checksum in the old software, and where it may lie in the new one. The first candidate is the
// likeliest.
struct SoughtPlace {
  Place old;
  std::vector<Range> candidates;  // not empty; of coverage they may be longer or shorter than the old place
  bool is_table = false;          // records that say what is covered; it has no ends that matter
};

// All places of one checksum: of a repetition, every instance is given, and the places are those of the
// first, whose moves all others make.
struct SoughtChecksum {
  std::vector<const Checksum*> instances;
  std::vector<SoughtPlace> coverage, substitutes;  // ranges and tables; in the checksum's order
  std::vector<SoughtPlace> slots;                  // or the balance alone
  bool every_end = false;  // try all ends of the one range too, when no candidate holds
};

struct FoundChecksum {
  static constexpr double kMostChance = 2e-3;
  static constexpr int kManyBits = 24;  // a shorter value must hold at the first try

  std::vector<Range> coverage, substitutes, slots;  // as in SoughtChecksum
  double chance = 1;          // that one of the places tried holds without being the right one, at most
  int bits = 0;               // of the value that tell, of all instances together
  bool edges_matter = false;  // moved by a word at either end, the coverage does not hold
  bool balance_only = false;  // `slots` is a balance, whose place the value does not tell
  bool first = false;         // the first candidates

  bool is_likely() const { return bits >= kManyBits ? chance <= kMostChance : first && bits >= 16; }
};

// Tries, in this order and until one holds: the first candidates; every coverage with slots at their
// candidates or as far from either end of the coverage as before; slots at the only place where the right
// value stands, near by when it has fewer than 32 bits; every end. `budget` is how many bytes may be read,
// and is lowered by those that were. Values over constant bytes or unknown ones, values in blank slots, and
// those that read a table that makes no sense do not count as holding. Nothing when none holds.
std::optional<FoundChecksum> find_checksum(const RegionMap& map, const SoughtChecksum& sought,
                                           const Image& image, std::uint64_t& budget);

}  // namespace calseal
