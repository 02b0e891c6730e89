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
// `pairs` counts the places touched; nothing once there are more than kDependencyLimit.
std::optional<std::vector<std::size_t>> owners_read(const std::vector<OwnedRange>& owned,
                                                    const std::vector<RangeSet>& reads, std::size_t& pairs) {
  std::vector<std::size_t> owners;
  auto last = owned.end();  // two ranges may touch one place
  for (std::size_t memory = 0; memory < reads.size(); ++memory) {
    for (const Range& range : reads[memory].ranges()) {
      auto it = std::upper_bound(owned.begin(), owned.end(), std::pair(memory, range.begin),
                                 [](const auto& value, const OwnedRange& o) {
                                   return value < std::pair(o.place.memory, o.place.range.end);
                                 });
      for (; it != owned.end() && it->place.memory == memory && it->place.range.begin < range.end; ++it) {
        if (it == last) continue;
        last = it;
        if (++pairs > kDependencyLimit) return std::nullopt;
        owners.push_back(it->node);
      }
    }
  }
  std::sort(owners.begin(), owners.end());
  owners.erase(std::unique(owners.begin(), owners.end()), owners.end());
  owners.shrink_to_fit();
  return owners;
}

Result<std::vector<std::vector<std::size_t>>> make_edges(const Plan& plan) {
  const std::vector<OwnedRange> owned = owned_ranges(plan);
  std::size_t pairs = 0;
  std::vector<std::vector<std::size_t>> edges;
  edges.reserve(plan.nodes.size());
  for (const PlanNode& node : plan.nodes) {
    auto owners = owners_read(owned, node.reads, pairs);
    if (!owners) {
      return fail({Reason::kDescriptorInvalid, "", node.name,
                   "more than " + grouped(kDependencyLimit) +
                       " slots, balances and copies read by all checksums and copies up to this one",
                   "at most " + grouped(kDependencyLimit), "read fewer of each other's results"});
    }
    edges.push_back(*std::move(owners));
  }
  return edges;
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

Result<Plan> make_nodes(const RegionMap& map, const Image& image) {
  Plan plan;
  plan.map = &map;
  plan.nodes.reserve(map.checksums.size() + map.copies.size());
  std::uint64_t read = 0, declared = 0;
  std::size_t pieces = 0;
  for (const MemoryDeclaration& memory : map.memories) declared += memory.extent.size();
  for (std::size_t i = 0; i < map.checksums.size(); ++i) {
    const Checksum& checksum = map.checksums[i];
    PlanNode node;
    node.index = i;
    node.name = checksum.name;
    CALSEAL_ASSIGN(node.message, Message::resolve(map, checksum, image, kPieceLimit - pieces));
    pieces += node.message.pieces().size();
    read += node.message.length();
    // Nothing that a small file says keeps a machine busy for long.
    if (read > kReadsOfAnImage * declared) {
      return fail({Reason::kDescriptorInvalid, "", checksum.name,
                   grouped(read) + " bytes read by all checksums up to this one",
                   "at most " + grouped(kReadsOfAnImage * declared),
                   "check that region map and image belong together"});
    }
    node.reads = node.message.reads();
    node.writes = checksum.written_places();
    if (checksum.rule && checksum.rule->balance) {
      const Place& balance = *checksum.rule->balance;
      node.reads[balance.memory].remove(balance.range);
    }
    if (checksum.is_unconfirmed()) {
      for (const Slot& slot : checksum.slots) {
        node.fixed.push_back(slot.place);
        node.reads[slot.place.memory].add(slot.place.range);
      }
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

// The ranges of some places as one set for each memory.
class SetsByMemory {
 public:
  explicit SetsByMemory(std::size_t memories) : ranges_(memories) {}
  void add(const Place& place) { ranges_[place.memory].push_back(place.range); }
  std::vector<RangeSet> sets() && {
    std::vector<RangeSet> sets;
    for (std::vector<Range>& ranges : ranges_) sets.push_back(RangeSet::of(std::move(ranges)));
    return sets;
  }

 private:
  std::vector<std::vector<Range>> ranges_;
};

template <typename Wanted>
std::vector<RangeSet> owned_bytes(const Plan& plan, Wanted wanted) {
  SetsByMemory found(plan.map->memories.size());
  for (const PlanNode& node : plan.nodes) {
    if (!wanted(node)) continue;
    for (const Place& place : node.writes) found.add(place);
  }
  return std::move(found).sets();
}

std::vector<RangeSet> region_bytes(const RegionMap& map, Policy policy) {
  SetsByMemory found(map.memories.size());
  for (const Region& region : map.regions) {
    if (region.policy == policy) found.add(region.place);
  }
  return std::move(found).sets();
}

std::vector<RangeSet> binding_bytes(const RegionMap& map) {
  SetsByMemory found(map.memories.size());
  for (const IdentityField& field : map.identity) {
    if (field.binds) found.add(field.place);
  }
  return std::move(found).sets();
}

// By node: whether it reads one of `bytes`, directly or through others.
std::vector<bool> reached_by(const Plan& plan, const std::vector<RangeSet>& bytes) {
  std::vector<bool> reached(plan.nodes.size(), false);
  for (const PlanGroup& group : plan.order) {
    bool any = false;
    for (const std::size_t index : group.nodes) {
      const PlanNode& node = plan.nodes[index];
      for (std::size_t memory = 0; memory < node.reads.size(); ++memory) {
        for (const Range& range : node.reads[memory].ranges()) any = any || bytes[memory].overlaps(range);
      }
      for (const std::size_t read : plan.edges[index]) any = any || reached[read];
    }
    for (const std::size_t index : group.nodes) reached[index] = any;
  }
  return reached;
}

void mark_reached(Plan& plan, const std::vector<RangeSet>& bytes, bool PlanNode::*mark) {
  const std::vector<bool> reached = reached_by(plan, bytes);
  for (std::size_t i = 0; i < reached.size(); ++i) plan.nodes[i].*mark = reached[i];
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

SpanKind kind_at(const KindSets& sets, std::uint64_t address) {
  for (std::size_t kind = 0; kind < sets.size(); ++kind) {
    if (sets[kind].contains(address)) return static_cast<SpanKind>(kind);
  }
  return SpanKind::kLocked;
}

}  // namespace

std::vector<KindSets> compute_kinds(const Plan& plan) {
  const RegionMap& map = *plan.map;
  auto editable = region_bytes(map, Policy::kEditable);
  auto derived = owned_bytes(plan, [](const PlanNode& node) { return !node.floating; });
  auto floating = owned_bytes(plan, [](const PlanNode& node) { return node.floating; });
  auto volatile_bytes = region_bytes(map, Policy::kVolatile);
  auto binding = binding_bytes(map);
  std::vector<KindSets> kinds(map.memories.size());
  for (std::size_t m = 0; m < kinds.size(); ++m) {
    RangeSet locked(map.memories[m].extent);
    // From the strongest to the weakest: what a stronger one has, no weaker one has.
    const auto take = [&](SpanKind kind, RangeSet set) {
      RangeSet taken = set.intersect(locked);
      locked.remove(taken);
      kinds[m][static_cast<std::size_t>(kind)] = std::move(taken);
    };
    take(SpanKind::kBinding, std::move(binding[m]));
    take(SpanKind::kFloating, std::move(floating[m]));
    take(SpanKind::kDerived, std::move(derived[m]));
    take(SpanKind::kVolatile, std::move(volatile_bytes[m]));
    take(SpanKind::kEditable, std::move(editable[m]));
    kinds[m][static_cast<std::size_t>(SpanKind::kLocked)] = std::move(locked);
  }
  return kinds;
}

Result<Plan> make_plan(const RegionMap& map, const Image& image) {
  CALSEAL_ASSIGN(Plan plan, make_nodes(map, image));
  CALSEAL_ASSIGN(plan.edges, make_edges(plan));
  for (std::vector<std::size_t>& component : Components(plan.edges).components) {
    const std::size_t first = component.front();
    const bool joint =
        component.size() > 1 || std::binary_search(plan.edges[first].begin(), plan.edges[first].end(), first);
    plan.order.push_back({std::move(component), joint});
  }
  const std::vector<RangeSet> binding = binding_bytes(map);
  const std::vector<RangeSet> owned = owned_bytes(plan, [](const PlanNode&) { return true; });
  std::vector<RangeSet> vehicle_bytes = region_bytes(map, Policy::kVolatile);
  for (std::size_t m = 0; m < binding.size(); ++m) {
    vehicle_bytes[m].remove(owned[m]);
    vehicle_bytes[m].remove(binding[m]);
  }
  mark_reached(plan, vehicle_bytes, &PlanNode::learns);
  for (std::size_t m = 0; m < binding.size(); ++m) vehicle_bytes[m].add(binding[m]);
  mark_reached(plan, vehicle_bytes, &PlanNode::floating);
  CALSEAL_CHECK(check_groups(plan));
  plan.kinds = compute_kinds(plan);
  return plan;
}

std::vector<Span> Plan::spans(const Image& image) const {
  std::vector<std::vector<std::uint64_t>> cuts(map->memories.size());
  const auto cut = [&](std::size_t memory, const Range& range) {
    cuts[memory].push_back(range.begin);
    cuts[memory].push_back(range.end);
  };
  for (const Region& region : map->regions) cut(region.place.memory, region.place.range);
  for (const PlanNode& node : nodes) {
    for (const Place& place : node.writes) cut(place.memory, place.range);
  }
  for (const IdentityField& field : map->identity) {
    if (field.binds) cut(field.place.memory, field.place.range);
  }
  std::vector<Span> spans;
  for (std::size_t m = 0; m < cuts.size(); ++m) {
    cut(m, map->memories[m].extent);
    for (const Range& range : image.memories[m].known.ranges()) cut(m, range);
    std::sort(cuts[m].begin(), cuts[m].end());
    cuts[m].erase(std::unique(cuts[m].begin(), cuts[m].end()), cuts[m].end());
    for (std::size_t i = 0; i + 1 < cuts[m].size(); ++i) {
      const std::uint64_t begin = cuts[m][i];
      spans.push_back(
          {{m, {begin, cuts[m][i + 1]}}, kind_at(kinds[m], begin), image.memories[m].known.contains(begin)});
    }
  }
  return spans;
}

std::vector<RangeSet> Plan::learned_places() const {
  return owned_bytes(*this, [](const PlanNode& node) { return node.learns; });
}

std::vector<RangeSet> Plan::areas(const Image& image) const {
  SetsByMemory patches(map->memories.size());
  for (const PermittedPatch& patch : map->patches) patches.add(patch.place);
  std::vector<RangeSet> areas = std::move(patches).sets();
  for (std::size_t m = 0; m < areas.size(); ++m) {
    areas[m].add(bytes_of(m, SpanKind::kEditable));
    areas[m].add(bytes_of(m, SpanKind::kDerived));
    areas[m] = areas[m].intersect(image.memories[m].known);
  }
  return areas;
}

std::vector<RangeSet> Plan::write_ranges(const Image& image) const {
  std::vector<RangeSet> ranges = areas(image);
  const std::vector<bool> reached = reached_by(*this, ranges);
  SetsByMemory extra(ranges.size());
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (!reached[i] || !nodes[i].floating) continue;
    for (const Place& place : nodes[i].writes) extra.add(place);
  }
  const std::vector<RangeSet> floating = std::move(extra).sets();
  for (std::size_t m = 0; m < ranges.size(); ++m)
    ranges[m].add(floating[m].intersect(image.memories[m].known));
  return ranges;
}

}  // namespace calseal
