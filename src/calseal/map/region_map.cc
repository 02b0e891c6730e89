#include "calseal/map/region_map.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {

int algorithm_bits(const Algorithm& algorithm) {
  switch (algorithm.kind) {
    case AlgorithmKind::kCrc:
      return algorithm.crc.width;
    case AlgorithmKind::kSum:
      return algorithm.sum.accumulator;
    case AlgorithmKind::kFletcher:
      return algorithm.fletcher;
    case AlgorithmKind::kAdler32:
      return 32;
    case AlgorithmKind::kSha256:
      return 256;
  }
  return 32;
}

std::size_t RegionMap::memory_index(std::string_view memory) const {
  const auto found = std::find_if(memories.begin(), memories.end(),
                                  [&](const MemoryDeclaration& declared) { return declared.name == memory; });
  return static_cast<std::size_t>(found - memories.begin());
}

const std::string& RegionMap::grade() const {
  static const std::string kDraft = "draft";
  static const std::string kVerified = "verified";
  return evidence.verified ? kVerified : kDraft;
}

std::vector<Place> Checksum::written_places() const {
  std::vector<Place> places;
  if (is_unconfirmed()) return places;
  for (const Slot& slot : slots) places.push_back(slot.place);
  if (rule && rule->balance) places.push_back(*rule->balance);
  return places;
}

Policy policy_at(const RegionMap& map, std::size_t memory, std::uint64_t address) {
  const auto holds = [&](const Place& place) {
    return place.memory == memory && place.range.contains(address);
  };
  for (const Copy& copy : map.copies) {
    if (holds(copy.to)) return Policy::kDerived;
  }
  for (const Checksum& checksum : map.checksums) {
    if (std::ranges::any_of(checksum.written_places(), holds)) return Policy::kDerived;
  }
  // The last region that begins at or before the address is the only one that can hold it.
  const auto after =
      std::upper_bound(map.regions.begin(), map.regions.end(), std::pair(memory, address),
                       [](const std::pair<std::size_t, std::uint64_t>& at, const Region& region) {
                         return at < std::pair(region.place.memory, region.place.range.begin);
                       });
  if (after == map.regions.begin() || !holds(std::prev(after)->place)) return Policy::kLocked;
  return std::prev(after)->policy;
}

std::string place_text(const RegionMap& map, const Place& place) {
  const std::string name = place.memory < map.memories.size() ? map.memories[place.memory].name : "?";
  return name + " " + range_text(place.range);
}

}  // namespace calseal
