// Two region maps compared by what they allow: docs/region-map.md, "Two maps compared".
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
  bool widens = false;
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
  bool widens = false;                          // any of them does: more may change, or less is verified
};

// docs/region-map.md, "Two maps compared". Time and memory grow with the size of the two maps, not with their
// product.
MapDiff diff_region_maps(const RegionMap& before, const RegionMap& after);

}  // namespace calseal
