#include "calseal/change/compare.h"

#include <algorithm>

#include "calseal/base/lanes.h"

namespace calseal {
namespace {

// What else than the span cuts and names a change.
struct NamedPlace {
  Place place;
  const std::string* name;
};

std::vector<NamedPlace> owners_of(const Plan& plan) {
  std::vector<NamedPlace> owners;
  for (const PermittedPatch& patch : plan.map->patches) owners.push_back({patch.place, &patch.name});
  for (const SignedPart& part : plan.map->signed_parts) {
    for (const Place& place : part.places) owners.push_back({place, &part.name});
  }
  for (const PlanNode& node : plan.nodes) {
    for (const Place& place : node.writes) owners.push_back({place, &node.name});
  }
  for (const IdentityField& field : plan.map->identity) {
    if (field.binds) owners.push_back({field.place, &field.name});
  }
  std::sort(owners.begin(), owners.end(), [](const auto& a, const auto& b) { return a.place < b.place; });
  return owners;
}

// Cuts `change` at the edges of owners; these are disjoint and sorted.
void take_cut(const std::vector<NamedPlace>& owners, ChangedRange change,
              const std::function<void(const ChangedRange&)>& take) {
  auto it = std::upper_bound(owners.begin(), owners.end(), change.place,
                             [](const Place& value, const NamedPlace& owner) {
                               return std::pair(value.memory, value.range.begin) <
                                      std::pair(owner.place.memory, owner.place.range.end);
                             });
  Range rest = change.place.range;
  for (; it != owners.end() && it->place.memory == change.place.memory && it->place.range.begin < rest.end;
       ++it) {
    const Range owned = intersect(it->place.range, rest);
    if (owned.empty()) continue;
    if (rest.begin < owned.begin) {
      change.place.range = {rest.begin, owned.begin};
      change.owner.clear();
      take(change);
    }
    change.place.range = owned;
    change.owner = *it->name;
    take(change);
    rest.begin = owned.end;
  }
  if (rest.empty()) return;
  change.place.range = rest;
  change.owner.clear();
  take(change);
}

// Where the first difference from `at` on stands; the size when there is none.
std::size_t first_difference(ByteView a, ByteView b, std::size_t at) {
  const auto differing = [&](std::size_t offset) {
    return lanes::load<lanes::U64>(a.data() + offset) ^ lanes::load<lanes::U64>(b.data() + offset);
  };
  constexpr std::size_t kStride = 4 * lanes::kSize;
  for (; a.size() - at >= kStride; at += kStride) {
    const lanes::U64 any = (differing(at) | differing(at + lanes::kSize)) |
                           (differing(at + 2 * lanes::kSize) | differing(at + 3 * lanes::kSize));
    if ((any[0] | any[1]) != 0) break;
  }
  while (at < a.size() && a[at] == b[at]) ++at;
  return at;
}

}  // namespace

Range next_difference(ByteView a, ByteView b, std::size_t from) {
  const std::size_t begin = first_difference(a, b, from);
  std::size_t end = begin;
  while (end < a.size() && a[end] != b[end]) ++end;
  return {begin, end};
}

std::vector<Range> differing_ranges(ByteView a, ByteView b) {
  std::vector<Range> ranges;
  for (Range run = next_difference(a, b, 0); !run.empty();
       run = next_difference(a, b, static_cast<std::size_t>(run.end)))
    ranges.push_back(run);
  return ranges;
}

DifferenceSum sum_differences(ByteView a, ByteView b) {
  DifferenceSum sum;
  for (Range run = next_difference(a, b, 0); !run.empty();
       run = next_difference(a, b, static_cast<std::size_t>(run.end))) {
    if (sum.bytes == 0) sum.first = run;
    sum.bytes += run.size();
  }
  return sum;
}

void walk_changes(const Plan& plan, const Image& before, const Image& after,
                  const std::function<void(const ChangedRange&)>& take, const std::vector<RangeSet>* within) {
  const std::vector<NamedPlace> owners = owners_of(plan);
  for (const Span& span : plan.spans(before)) {
    if (!span.known) continue;
    const std::size_t m = span.place.memory;
    RangeSet compared = after.memories[m].known.within(span.place.range);
    if (within != nullptr) compared = compared.intersect((*within)[m]);
    for (const Range& known : compared.ranges()) {
      const ByteView a = before.memories[m].view(known);
      const ByteView b = after.memories[m].view(known);
      for (Range run = next_difference(a, b, 0); !run.empty();
           run = next_difference(a, b, static_cast<std::size_t>(run.end))) {
        const Range range{known.begin + run.begin, known.begin + run.end};
        take_cut(owners, {{m, range}, span.kind, region_at(*plan.map, m, range.begin), {}}, take);
      }
    }
  }
}

std::vector<ChangedRange> compare_images(const Plan& plan, const Image& before, const Image& after,
                                         const std::vector<RangeSet>* within) {
  std::vector<ChangedRange> changes;
  walk_changes(
      plan, before, after, [&](const ChangedRange& change) { changes.push_back(change); }, within);
  return changes;
}

std::vector<ChangedRange> coalesce(const std::vector<ChangedRange>& changes, std::uint64_t gap) {
  std::vector<ChangedRange> out;
  for (const ChangedRange& change : changes) {
    if (!out.empty()) {
      ChangedRange& last = out.back();
      if (last.place.memory == change.place.memory && last.kind == change.kind &&
          last.region == change.region && last.owner == change.owner &&
          change.place.range.begin - last.place.range.end <= gap) {
        last.place.range.end = change.place.range.end;
        continue;
      }
    }
    out.push_back(change);
  }
  return out;
}

std::string region_at(const RegionMap& map, std::size_t memory, std::uint64_t address) {
  const auto it = std::upper_bound(map.regions.begin(), map.regions.end(), std::pair(memory, address),
                                   [](const auto& value, const Region& region) {
                                     return value < std::pair(region.place.memory, region.place.range.end);
                                   });
  if (it == map.regions.end() || it->place.memory != memory || !it->place.range.contains(address)) return {};
  return it->name;
}

}  // namespace calseal
