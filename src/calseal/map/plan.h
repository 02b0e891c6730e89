// The checksum plan of one image: which checksums and copies depend on which, in what order they are
// corrected, which of them must be solved together, which float, and how the image falls into spans.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/range_set.h"
#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/kinds.h"
#include "calseal/map/message.h"
#include "calseal/map/region_map.h"

namespace calseal {

// A run of bytes of one kind; see SpanKind.
struct Span {
  Place place;
  SpanKind kind = SpanKind::kLocked;
  bool known = true;
  friend bool operator==(const Span&, const Span&) = default;
};

// One checksum or copy: something that owns derived bytes, or a rule that owns none.
struct PlanNode {
  bool is_copy = false;
  std::size_t index = 0;  // into RegionMap::checksums or RegionMap::copies
  std::string name;
  Message message;              // checksums only
  std::vector<RangeSet> reads;  // per memory; a rule's own balance is not among them
  std::vector<Place> writes;    // slots, balance or copy destination
  std::vector<Place> fixed;     // slots of an unconfirmed checksum: read, never written
  bool floating = false;        // its right value belongs to the vehicle: volatile or binding bytes reach it
  bool learns = false;          // it floats because of volatile bytes, so its value goes stale
};

// Nodes that are corrected together: one node, or several that depend on each other in a circle.
struct PlanGroup {
  std::vector<std::size_t> nodes;  // indexes into Plan::nodes, ascending
  bool joint = false;              // solved as one system of equations over GF(2)
};

// Pairs of a node and a derived place of which it reads a byte; docs/region-map.md, "Limits".
inline constexpr std::size_t kDependencyLimit = std::size_t{1} << 20;

// Every byte of one memory by its kind: sets that tile it, by SpanKind.
using KindSets = std::array<RangeSet, 6>;

struct Plan {
  const RegionMap* map = nullptr;               // must outlive the plan
  std::vector<PlanNode> nodes;                  // checksums in map order, then copies in map order
  std::vector<std::vector<std::size_t>> edges;  // by node: the nodes whose bytes it reads itself, ascending
  std::vector<PlanGroup> order;                 // every group after all groups that it reads
  std::vector<KindSets> kinds;                  // by memory

  // Cut by the known bytes of `image`, which must have the map's memories. Memories in map order, ascending,
  // without gaps.
  std::vector<Span> spans(const Image& image) const;

  // All bytes of the named kind in one memory, known or not.
  const RangeSet& bytes_of(std::size_t memory, SpanKind kind) const {
    return kinds[memory][static_cast<std::size_t>(kind)];
  }

  // What nodes that learn own, by memory.
  std::vector<RangeSet> learned_places() const;

  // Ranges that every payload of areas holds: editable, permitted patches, pinned derived; known bytes of
  // `image` only. One set per memory.
  std::vector<RangeSet> areas(const Image& image) const;

  // Exact bytes that may differ between two revisions of one base, so that writing them all turns any of them
  // into any other: the areas, and floating slots that depend on them. Never volatile or binding. One set per
  // memory.
  std::vector<RangeSet> write_ranges(const Image& image) const;
};

// The kinds that the nodes of a plan and its map give, by memory: what make_plan() fills in.
std::vector<KindSets> compute_kinds(const Plan& plan);

// Looks only at locked bytes of the image (descriptor tables), so all reads of one base give the same plan.
// kDescriptorInvalid, kReadIncomplete (tables), kChecksumCycle (names every member), kMapFloating (a floating
// slot without exactly one right value). O(n log n) in declarations plus the size of the tables.
Result<Plan> make_plan(const RegionMap& map, const Image& image);

}  // namespace calseal
