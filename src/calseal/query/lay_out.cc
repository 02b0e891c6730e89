#include "calseal/query/lay_out.h"

#include <algorithm>
#include <set>

#include "calseal/map/read.h"

namespace calseal {
namespace {

std::optional<LaidOut> whole(const RegionMap& map, const Bytes& file, const std::string& memory) {
  Result<Read> read = load_read(map, {{memory, "", file}});
  if (!read) return std::nullopt;
  return LaidOut{std::move(read->image), read->sources.front().form, "", 0};
}

std::optional<LaidOut> part(const RegionMap& map, const Bytes& file, std::size_t memory, std::uint64_t at) {
  const std::optional<Range> range = make_range(at, file.size(), kAddressLimit);
  if (!range || !map.memories[memory].extent.contains(*range)) return std::nullopt;
  LaidOut laid{blank_image(map), std::string(form_name(FormKind::kRaw)), map.memories[memory].name, at};
  Memory& into = laid.image.memories[memory];
  std::ranges::copy(file, into.span(*range).begin());
  into.known.add(*range);
  return laid;
}

std::set<std::pair<std::size_t, std::uint64_t>> likely_places(const RegionMap& map) {
  std::set<std::pair<std::size_t, std::uint64_t>> places;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    places.emplace(m, map.memories[m].extent.begin);
    for (const Range& segment : map.memories[m].segments) places.emplace(m, segment.begin);
  }
  for (const Region& region : map.regions) places.emplace(region.place.memory, region.place.range.begin);
  return places;
}

}  // namespace

std::vector<LaidOut> ways_to_lay(const RegionMap& map, const Bytes& file, const PlaceHint& hint) {
  std::vector<LaidOut> ways;
  const auto keep = [&](std::optional<LaidOut> way) {
    if (way) ways.push_back(std::move(*way));
  };
  if (hint.address) {
    const std::size_t memory = map.memory_index(hint.memory);
    if (memory < map.memories.size()) keep(part(map, file, memory, *hint.address));
    return ways;
  }
  keep(whole(map, file, hint.memory));
  if (!ways.empty() || !hint.memory.empty()) return ways;
  for (const MemoryDeclaration& memory : map.memories) keep(whole(map, file, memory.name));
  if (!ways.empty() || recognise_form(file) != FormKind::kRaw) return ways;
  for (const auto& [memory, at] : likely_places(map)) {
    if (ways.size() == kPartPlaces) break;
    keep(part(map, file, memory, at));
  }
  return ways;
}

}  // namespace calseal
