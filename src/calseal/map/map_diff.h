// Two region maps compared by what they allow.
#pragma once

#include <string>
#include <vector>

#include "calseal/map/region_map.h"

namespace calseal {

// A run of addresses whose policy differs.
struct PolicyChange {
  std::string memory;
  Range range;  // addresses
  Policy before = Policy::kLocked;
  Policy after = Policy::kLocked;
  bool widens = false;  // more may change, or less is verified, than before
};

// A declaration that one map has and the other has not, or has otherwise.
struct DeclarationChange {
  enum class Kind : std::uint8_t {
    kMemory,
    kPatch,
    kCopy,
    kChecksum,
    kIdentity,
    kSignedPart,
    kRecognition,
    kForm,
    kEraseSectors,
    kItem
  } kind = Kind::kChecksum;
  enum class How : std::uint8_t { kAdded, kRemoved, kChanged } how = How::kChanged;
  std::string name;  // empty for what a map has only once
  bool widens = false;
};
std::string_view declaration_kind_name(DeclarationChange::Kind kind);  // "checksum", "permitted patch", ...
std::string_view declaration_how_name(DeclarationChange::How how);     // "added", "removed", "changed"

struct MapDiff {
  std::vector<PolicyChange> policies;           // by memory in the order of both maps, ascending
  std::vector<DeclarationChange> declarations;  // by kind, then name
  bool widens = false;                          // any of them does
};

// Memories are matched by name, declarations by kind and name. An address that only one map has counts as
// locked in the other. Widening is judged on the safe side: locked to anything else, anything to editable,
// derived to volatile; a patch or memory added; a patch, copy, checksum, identity field, signed part or
// recognition rule changed; a copy, checksum, signed part, recognition rule or binding field removed.
// Forms and erase sectors never widen. O(edges * (regions + slots)).
MapDiff diff_region_maps(const RegionMap& before, const RegionMap& after);

}  // namespace calseal
