// The ways in which a read goes wrong, and the search for them in one memory's bytes.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/range_set.h"
#include "calseal/map/region_map.h"

namespace calseal {

enum class DamageKind : std::uint8_t {
  kTruncated,
  kPadded,
  kBlank,
  kStuck,
  kRepeated,
  kMirrored,
  kShifted,
  kSwapped16,
  kSwapped32,
  kSecondImage,
  kNoise,
  kGaps,
  kOpaque,
  kOneByte,
  kUnexplained,  // checks fail and nothing above is seen
};
std::string_view damage_name(DamageKind kind);     // "truncated", "padded", ...
std::string_view damage_meaning(DamageKind kind);  // one sentence for people
std::string_view damage_advice(DamageKind kind);   // what to do

struct Damage {
  DamageKind kind = DamageKind::kUnexplained;
  std::string place;  // "flash 0x80000000-0x800000ff", or offsets of the file
  std::string found;
  std::optional<Place> at = std::nullopt;  // where that is in the image, if it is there
};

// Bytes exchanged in groups of 2 or 4 as by a reversed bus; a tail shorter than a group stays.
Bytes swapped(ByteView bytes, std::size_t group);

// The least period p = size/2, size/4, ... size/64 (at least 256 bytes) with which all of `bytes` repeats,
// when they are not all one value. A memory read past its end comes round like this.
std::optional<std::uint64_t> mirror_period(ByteView bytes);

// Where to look, and what is normal there.
struct DamageSearch {
  const RegionMap* map = nullptr;
  std::size_t memory = 0;
  ByteView bytes;    // of the whole extent
  RangeSet suspect;  // addresses that a failing check reads and no holding check vouches for
};

// Blank, stuck, repeated and noisy stretches inside the suspect addresses, likeliest first: those whose ends
// both lie on multiples of 256 before others, what may be the padding of its region last, repeated ones
// before the rest, then the longer. Blank and stuck runs count from 256 bytes with both ends on such
// multiples, from 2,048 with one: padding and empty tables are no damage. What lies in no region counts where
// no region shows anything: unused memory is blank in a sound read too. Repeats count from 256 bytes with
// both ends so, else from 512. Linear in the memory's size but for sorting block hashes.
std::vector<Damage> find_damage(const DamageSearch& search);

}  // namespace calseal
