#include "calseal/map/plan.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/joint.h"

namespace calseal {
namespace {

// A derived range and the node that owns it, sorted by place for look-up.
struct OwnedRange {
  Place place;
  std::size_t node;
};

std::vector<OwnedRange> owned_ranges(const Plan& plan) {
  std::vector<OwnedRange> owned;
  for (std::size_t i = 0; i < plan.nodes.size(); ++i) {
    for (const Place& place : plan.nodes[i].writes) owned.push_back({place, i});
  }
  std::sort(owned.begin(), owned.end(), [](const auto& a, const auto& b) { return a.place < b.place; });
  return owned;
}

// Owners of derived bytes that `reads` touches; derived ranges never overlap, so a sorted walk finds them.
std::vector<std::size_t> owners_read(const std::vector<OwnedRange>& owned,
                                     const std::vector<RangeSet>& reads) {
  std::vector<std::size_t> owners;
  for (std::size_t memory = 0; memory < reads.size(); ++memory) {
    for (const Range& range : reads[memory].ranges()) {
      auto it = std::upper_bound(owned.begin(), owned.end(), std::pair(memory, range.begin),
                                 [](const auto& value, const OwnedRange& o) {
                                   return value < std::pair(o.place.memory, o.place.range.end);
                                 });
      for (; it != owned.end() && it->place.memory == memory && it->place.range.begin < range.end; ++it) {
        owners.push_back(it->node);
      }
    }
  }
  std::sort(owners.begin(), owners.end());
  owners.erase(std::unique(owners.begin(), owners.end()), owners.end());
  return owners;
}

// Strongly connected components (Tarjan 1972), each after all components that it depends on. Iterative, since
// the depth is set by the region map.
class Components {
 public:
  explicit Components(const std::vector<std::vector<std::size_t>>& edges)
      : edges_(edges), number_(edges.size(), 0), low_(edges.size(), 0), on_stack_(edges.size(), false) {
    for (std::size_t node = 0; node < edges.size(); ++node) {
      if (number_[node] == 0) visit(node);
    }
  }
  std::vector<std::vector<std::size_t>> components;

 private:
  struct Frame {
    std::size_t node;
    std::size_t next_edge;
  };

  void enter(std::size_t node) {
    number_[node] = low_[node] = ++counter_;
    stack_.push_back(node);
    on_stack_[node] = true;
    frames_.push_back({node, 0});
  }

  void visit(std::size_t root) {
    enter(root);
    while (!frames_.empty()) {
      Frame& frame = frames_.back();
      const std::size_t node = frame.node;
      if (frame.next_edge < edges_[node].size()) {
        const std::size_t to = edges_[node][frame.next_edge++];
        if (number_[to] == 0) {
          enter(to);
        } else if (on_stack_[to]) {
          low_[node] = std::min(low_[node], number_[to]);
        }
        continue;
      }
      frames_.pop_back();
      if (!frames_.empty()) low_[frames_.back().node] = std::min(low_[frames_.back().node], low_[node]);
      if (low_[node] == number_[node]) close(node);
    }
  }

  void close(std::size_t node) {
    std::vector<std::size_t> component;
    std::size_t member = 0;
    do {
      member = stack_.back();
      stack_.pop_back();
      on_stack_[member] = false;
      component.push_back(member);
    } while (member != node);
    std::sort(component.begin(), component.end());
    components.push_back(std::move(component));
  }

  const std::vector<std::vector<std::size_t>>& edges_;
  std::vector<std::size_t> number_, low_;
  std::vector<bool> on_stack_;
  std::vector<std::size_t> stack_;
  std::vector<Frame> frames_;
  std::size_t counter_ = 0;
};

constexpr std::uint64_t kReadsOfAnImage = 64;  // docs/proof.md, claims

// The CRC of these parameters, from an earlier node where there is one: making one takes longer than many a
// coverage.
Crc shared_crc(const Plan& plan, const CrcParameters& parameters) {
  for (const PlanNode& node : plan.nodes) {
    if (node.crc && node.crc->parameters() == parameters) return *node.crc;
  }
  return Crc(parameters);
}

Result<Plan> make_nodes(const RegionMap& map, const Image& image) {
  Plan plan;
  plan.map = &map;
  plan.nodes.reserve(map.checksums.size() + map.copies.size());
  std::uint64_t read = 0, declared = 0;
  for (const MemoryDeclaration& memory : map.memories) declared += memory.extent.size();
  for (std::size_t i = 0; i < map.checksums.size(); ++i) {
    const Checksum& checksum = map.checksums[i];
    PlanNode node;
    node.index = i;
    node.name = checksum.name;
    CALSEAL_ASSIGN(node.message, Message::resolve(map, checksum, image));
    read += node.message.length();
    // Nothing that a small file says keeps a machine busy for long.
    if (read > kReadsOfAnImage * declared) {
      return fail({Reason::kDescriptorInvalid, "", checksum.name,
                   grouped(read) + " bytes read by all checksums up to this one",
                   "at most " + grouped(kReadsOfAnImage * declared),
                   "check that region map and image belong together"});
    }
    if (checksum.algorithm.kind == AlgorithmKind::kCrc) node.crc = shared_crc(plan, checksum.algorithm.crc);
    node.reads = node.message.reads();
    for (const Slot& slot : checksum.slots) node.writes.push_back(slot.place);
    if (checksum.rule && checksum.rule->balance) {
      const Place& balance = *checksum.rule->balance;
      node.writes.push_back(balance);
      node.reads[balance.memory].remove(balance.range);
    }
    plan.nodes.push_back(std::move(node));
  }
  for (std::size_t i = 0; i < map.copies.size(); ++i) {
    PlanNode node;
    node.is_copy = true;
    node.index = i;
    node.name = map.copies[i].name;
    node.reads.resize(map.memories.size());
    node.reads[map.copies[i].of.memory].add(map.copies[i].of.range);
    node.writes.push_back(map.copies[i].to);
    plan.nodes.push_back(std::move(node));
  }
  return plan;
}

std::string member_names(const Plan& plan, const std::vector<std::size_t>& nodes) {
  std::string names;
  for (const std::size_t index : nodes) {
    if (!names.empty()) names += " -> ";
    names += plan.nodes[index].name;
  }
  return names + " -> " + plan.nodes[nodes.front()].name;
}

// Bytes whose region is volatile and that no slot, balance or copy owns.
std::vector<RangeSet> plain_volatile(const Plan& plan) {
  std::vector<RangeSet> sets(plan.map->memories.size());
  for (const Region& region : plan.map->regions) {
    if (region.policy == Policy::kVolatile) sets[region.place.memory].add(region.place.range);
  }
  for (const PlanNode& node : plan.nodes) {
    for (const Place& place : node.writes) sets[place.memory].remove(place.range);
  }
  return sets;
}

std::vector<RangeSet> binding_bytes(const RegionMap& map) {
  std::vector<RangeSet> sets(map.memories.size());
  for (const IdentityField& field : map.identity) {
    if (field.binds) sets[field.place.memory].add(field.place.range);
  }
  return sets;
}

// Sets `mark` in every node that reads one of `bytes`, directly or through others.
void mark_reached(Plan& plan, const std::vector<std::vector<std::size_t>>& edges,
                  const std::vector<RangeSet>& bytes, bool PlanNode::*mark) {
  for (const PlanGroup& group : plan.order) {
    bool reached = false;
    for (const std::size_t index : group.nodes) {
      const PlanNode& node = plan.nodes[index];
      for (std::size_t memory = 0; memory < node.reads.size(); ++memory) {
        for (const Range& range : node.reads[memory].ranges())
          reached = reached || bytes[memory].overlaps(range);
      }
      for (const std::size_t read : edges[index]) reached = reached || plan.nodes[read].*mark;
    }
    for (const std::size_t index : group.nodes) plan.nodes[index].*mark = plan.nodes[index].*mark || reached;
  }
}

// A balance that floats is set again on the customer's side, so both sides must find the same value. Of the
// two words that one's complement addition takes for zero, correction sets 0.
bool balance_is_unique(const Plan& plan, const PlanGroup& group) {
  const Checksum& checksum = plan.map->checksums[plan.nodes[group.nodes.front()].index];
  if (const auto system = make_joint_system(plan, group)) return system->solvable && system->unique;
  return checksum.bits == static_cast<int>(8 * checksum.rule->balance->range.size());
}

Status check_groups(const Plan& plan) {
  for (const PlanGroup& group : plan.order) {
    if (group.joint) {
      const auto system = make_joint_system(plan, group);
      if (!system || !system->solvable) {
        return fail({Reason::kChecksumCycle, "", member_names(plan, group.nodes),
                     !system
                         ? "a circle of results that cover each other, and not one of CRCs and exclusive-or "
                           "sums that "
                           "fits into " +
                               std::to_string(kJointBitLimit) + " bits"
                         : "a circle of results that cover each other, without a value that satisfies all",
                     "an order in which each can be computed",
                     "exclude a slot from its own coverage with \"substitute\", or correct the ranges"});
      }
      if (plan.nodes[group.nodes.front()].floating && !system->unique) {
        return fail({Reason::kMapFloating, "", member_names(plan, group.nodes), "more than one right value",
                     "exactly one right value, since bytes of the vehicle reach it",
                     "make the slot as wide as the result"});
      }
      continue;
    }
    const PlanNode& node = plan.nodes[group.nodes.front()];
    if (node.is_copy || !node.floating) continue;
    const Checksum& checksum = plan.map->checksums[node.index];
    if (checksum.rule && checksum.rule->balance && !balance_is_unique(plan, group)) {
      return fail({Reason::kMapFloating, "", checksum.name, "a balance with more than one right value",
                   "exactly one right value, since bytes of the vehicle reach it",
                   "make the balance as wide as the result"});
    }
  }
  return {};
}

// Kind of every byte of one memory, as sets that tile it.
struct KindSets {
  RangeSet editable, derived, floating, volatile_bytes, binding;
};

KindSets kind_sets(const Plan& plan, std::size_t memory) {
  KindSets sets;
  for (const Region& region : plan.map->regions) {
    if (region.place.memory != memory) continue;
    if (region.policy == Policy::kEditable) sets.editable.add(region.place.range);
    if (region.policy == Policy::kVolatile) sets.volatile_bytes.add(region.place.range);
  }
  for (const PlanNode& node : plan.nodes) {
    for (const Place& place : node.writes) {
      if (place.memory == memory) (node.floating ? sets.floating : sets.derived).add(place.range);
    }
  }
  for (const IdentityField& field : plan.map->identity) {
    if (field.binds && field.place.memory == memory) sets.binding.add(field.place.range);
  }
  for (RangeSet* weaker : {&sets.editable, &sets.volatile_bytes}) {
    weaker->remove(sets.derived);
    weaker->remove(sets.floating);
    weaker->remove(sets.binding);
  }
  return sets;
}

SpanKind kind_in(const KindSets& sets, std::uint64_t address) {
  if (sets.binding.contains(address)) return SpanKind::kBinding;
  if (sets.floating.contains(address)) return SpanKind::kFloating;
  if (sets.derived.contains(address)) return SpanKind::kDerived;
  if (sets.volatile_bytes.contains(address)) return SpanKind::kVolatile;
  if (sets.editable.contains(address)) return SpanKind::kEditable;
  return SpanKind::kLocked;
}

// Floating nodes whose value depends, directly or through others, on bytes of the areas.
std::vector<bool> reached_by_areas(const Plan& plan, const std::vector<RangeSet>& areas) {
  std::vector<bool> reached(plan.nodes.size(), false);
  const std::vector<OwnedRange> owned = owned_ranges(plan);
  for (const PlanGroup& group : plan.order) {
    bool any = false;
    for (const std::size_t index : group.nodes) {
      const PlanNode& node = plan.nodes[index];
      for (std::size_t memory = 0; memory < node.reads.size(); ++memory) {
        for (const Range& range : node.reads[memory].ranges()) any = any || areas[memory].overlaps(range);
      }
      for (const std::size_t owner : owners_read(owned, node.reads)) any = any || reached[owner];
    }
    for (const std::size_t index : group.nodes) reached[index] = any;
  }
  return reached;
}

}  // namespace

Result<Plan> make_plan(const RegionMap& map, const Image& image) {
  CALSEAL_ASSIGN(Plan plan, make_nodes(map, image));
  const std::vector<OwnedRange> owned = owned_ranges(plan);
  std::vector<std::vector<std::size_t>> edges;
  edges.reserve(plan.nodes.size());
  for (const PlanNode& node : plan.nodes) edges.push_back(owners_read(owned, node.reads));
  for (std::vector<std::size_t>& component : Components(edges).components) {
    const std::size_t first = component.front();
    const bool joint =
        component.size() > 1 || std::binary_search(edges[first].begin(), edges[first].end(), first);
    plan.order.push_back({std::move(component), joint});
  }
  const std::vector<RangeSet> binding = binding_bytes(map);
  std::vector<RangeSet> vehicle_bytes = plain_volatile(plan);
  for (std::size_t m = 0; m < binding.size(); ++m) vehicle_bytes[m].remove(binding[m]);
  mark_reached(plan, edges, vehicle_bytes, &PlanNode::learns);
  for (std::size_t m = 0; m < binding.size(); ++m) vehicle_bytes[m].add(binding[m]);
  mark_reached(plan, edges, vehicle_bytes, &PlanNode::floating);
  CALSEAL_CHECK(check_groups(plan));
  return plan;
}

std::vector<Span> Plan::spans(const Image& image) const {
  std::vector<Span> spans;
  for (std::size_t m = 0; m < map->memories.size(); ++m) {
    const KindSets sets = kind_sets(*this, m);
    const Range extent = map->memories[m].extent;
    std::vector<std::uint64_t> cuts{extent.begin, extent.end};
    const auto cut = [&](const Range& range) {
      cuts.push_back(range.begin);
      cuts.push_back(range.end);
    };
    for (const Region& region : map->regions) {
      if (region.place.memory == m) cut(region.place.range);
    }
    for (const PlanNode& node : nodes) {
      for (const Place& place : node.writes) {
        if (place.memory == m) cut(place.range);
      }
    }
    for (const IdentityField& field : map->identity) {
      if (field.binds && field.place.memory == m) cut(field.place.range);
    }
    for (const Range& range : image.memories[m].known.ranges()) cut(range);
    std::sort(cuts.begin(), cuts.end());
    cuts.erase(std::unique(cuts.begin(), cuts.end()), cuts.end());
    for (std::size_t i = 0; i + 1 < cuts.size(); ++i) {
      spans.push_back(
          {{m, {cuts[i], cuts[i + 1]}}, kind_in(sets, cuts[i]), image.memories[m].known.contains(cuts[i])});
    }
  }
  return spans;
}

RangeSet Plan::bytes_of(std::size_t memory, SpanKind kind) const {
  KindSets sets = kind_sets(*this, memory);
  switch (kind) {
    case SpanKind::kEditable:
      return sets.editable;
    case SpanKind::kDerived:
      return sets.derived;
    case SpanKind::kFloating:
      return sets.floating;
    case SpanKind::kVolatile:
      return sets.volatile_bytes;
    case SpanKind::kBinding:
      return sets.binding;
    case SpanKind::kLocked:
      break;
  }
  RangeSet locked(map->memories[memory].extent);
  for (const RangeSet* other :
       {&sets.editable, &sets.derived, &sets.floating, &sets.volatile_bytes, &sets.binding}) {
    locked.remove(*other);
  }
  return locked;
}

RangeSet Plan::learned_places(std::size_t memory) const {
  RangeSet places;
  for (const PlanNode& node : nodes) {
    for (const Place& place : node.writes) {
      if (node.learns && place.memory == memory) places.add(place.range);
    }
  }
  return places;
}

std::vector<RangeSet> Plan::areas(const Image& image) const {
  std::vector<RangeSet> areas(map->memories.size());
  for (std::size_t m = 0; m < areas.size(); ++m) {
    const KindSets sets = kind_sets(*this, m);
    areas[m].add(sets.editable);
    areas[m].add(sets.derived);
  }
  for (const PermittedPatch& patch : map->patches) areas[patch.place.memory].add(patch.place.range);
  for (std::size_t m = 0; m < areas.size(); ++m) areas[m] = areas[m].intersect(image.memories[m].known);
  return areas;
}

std::vector<RangeSet> Plan::write_ranges(const Image& image) const {
  std::vector<RangeSet> ranges = areas(image);
  const std::vector<bool> reached = reached_by_areas(*this, ranges);
  std::vector<RangeSet> extra(ranges.size());
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (!reached[i] || !nodes[i].floating) continue;
    for (const Place& place : nodes[i].writes) extra[place.memory].add(place.range);
  }
  for (std::size_t m = 0; m < ranges.size(); ++m) ranges[m].add(extra[m].intersect(image.memories[m].known));
  return ranges;
}

}  // namespace calseal
