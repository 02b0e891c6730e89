#include "calseal/change/by_item.h"

#include <algorithm>
#include <map>

#include "calseal/map/identity.h"
#include "calseal/map/item_words.h"

namespace calseal {
namespace {

// Adds differences up; the mean is taken at the end.
class MovementSum {
 public:
  void take(const Quantity& difference, int places) {
    ++sum_.changed;
    sum_.places = std::max(sum_.places, places);
    if (!difference.is_defined()) {
      ++sum_.without_value;
      return;
    }
    const bool first = moved_++ == 0;
    total_ = first ? difference : total_.plus(difference);
    if (first || difference.compare(sum_.least) < 0) sum_.least = difference;
    if (first || difference.compare(sum_.most) > 0) sum_.most = difference;
  }
  void of(std::uint64_t elements) { sum_.all += elements; }

  Movement movement() const {
    Movement movement = sum_;
    if (moved_ > 0) movement.mean = total_.divided_by(moved_);
    return movement;
  }

 private:
  Movement sum_;
  std::uint64_t moved_ = 0;
  Quantity total_;
};

void add_differences(const ChangedItem& item, MovementSum& sum) {
  for (std::size_t i = 0; i < item.places.size(); ++i)
    sum.take(item.change.after[i].minus(item.change.before[i]), item.places[i]);
  sum.of(element_count(*item.change.item));
}

std::vector<ChangedItem> items_of(const RegionMap& map, const Image& before, const Image& after) {
  std::vector<ChangedItem> items;
  std::vector<bool> changed(map.items.size(), false);
  for (ItemChange& change : compare_items(map, before, after)) {
    changed[static_cast<std::size_t>(change.item - map.items.data())] = true;
    ChangedItem item{std::move(change), {}, {}, {}};
    for (const std::uint64_t element : item.change.elements) {
      item.places.push_back(std::max(places_needed(*item.change.item, before, element),
                                     places_needed(*item.change.item, after, element)));
    }
    MovementSum sum;
    add_differences(item, sum);
    item.movement = sum.movement();
    items.push_back(std::move(item));
  }
  for (ChangedItem& item : items) item.axes = axes_changed(*item.change.item, changed);
  return items;
}

std::vector<ItemGroup> groups_of(const RegionMap& map, const std::vector<ChangedItem>& items) {
  std::map<std::string, std::uint64_t> declared;
  for (const Item& item : map.items) ++declared[declared_name(item)];
  std::vector<ItemGroup> groups;
  std::vector<MovementSum> sums;
  std::map<std::string, std::size_t> known;
  for (std::size_t i = 0; i < items.size(); ++i) {
    const std::string name = declared_name(*items[i].change.item);
    const auto [at, is_new] = known.emplace(name, groups.size());
    if (is_new) {
      groups.push_back({name, {}, declared[name], {}});
      sums.emplace_back();
    }
    groups[at->second].members.push_back(i);
    add_differences(items[i], sums[at->second]);
  }
  for (std::size_t f = 0; f < groups.size(); ++f) {
    groups[f].movement = sums[f].movement();
    if (groups[f].members.size() == 1) groups[f].name = items[groups[f].members.front()].change.item->name;
  }
  return groups;
}

// Bytes of the elements that are listed, by memory.
std::vector<RangeSet> listed_bytes(const RegionMap& map, const std::vector<ChangedItem>& items) {
  std::vector<RangeSet> listed(map.memories.size());
  for (const ChangedItem& item : items) {
    for (const std::uint64_t element : item.change.elements)
      listed[item.change.item->place.memory].add(element_range(*item.change.item, element));
  }
  return listed;
}

// Who owns derived bytes.
struct OwnedPlace {
  Place place;
  std::size_t node;
};

std::vector<OwnedPlace> owned_places(const Plan& plan) {
  std::vector<OwnedPlace> owned;
  for (std::size_t n = 0; n < plan.nodes.size(); ++n) {
    for (const Place& place : plan.nodes[n].writes) owned.push_back({place, n});
  }
  std::ranges::sort(owned, {}, &OwnedPlace::place);
  return owned;
}

// Counts what no item names, run by run.
class Rest {
 public:
  Rest(const Plan& plan, const Image& before, const Image& after, ChangesByItem& sum)
      : plan_(plan), owned_(owned_places(plan)), in_items_(plan.map->memories.size()), sum_(sum) {
    for (const Item& item : plan.map->items) in_items_[item.place.memory].add(item.place.range);
    const std::vector<IdentityValue> from = read_identity(*plan.map, before);
    const std::vector<IdentityValue> to = read_identity(*plan.map, after);
    for (std::size_t i = 0; i < from.size() && i < to.size(); ++i) {
      if (!from[i].field->binds && from[i].known && to[i].known)
        texts_.push_back({from[i].field, {from[i].field->name, from[i].text, to[i].text, 0}});
    }
  }

  void take(const Place& place, SpanKind kind, const std::string& owner) {
    switch (kind) {
      case SpanKind::kEditable:
        take_editable(place);
        break;
      case SpanKind::kDerived:
      case SpanKind::kFloating:
        sum_.derived_bytes += place.range.size();
        note_nodes(place);
        break;
      case SpanKind::kVolatile:
      case SpanKind::kBinding:
        sum_.vehicle_bytes += place.range.size();
        break;
      case SpanKind::kLocked:
        take_locked(place, owner);
        break;
    }
  }

  void finish() {
    for (const auto& [field, text] : texts_) {
      if (text.bytes > 0) sum_.texts.push_back(text);
    }
    std::ranges::sort(sum_.derived_nodes);
    sum_.derived_nodes.erase(std::unique(sum_.derived_nodes.begin(), sum_.derived_nodes.end()),
                             sum_.derived_nodes.end());
  }

 private:
  void take_editable(const Place& place) {
    RangeSet left(place.range);
    for (auto& [field, text] : texts_) {
      if (field->place.memory != place.memory) continue;
      const RangeSet part = left.within(field->place.range);
      text.bytes += part.size();
      left.remove(part);
    }
    const RangeSet partial = left.intersect(in_items_[place.memory].within(place.range));
    sum_.partial_bytes += partial.size();
    left.remove(partial);
    sum_.editable_bytes += left.size();
    sum_.editable_runs += left.ranges().size();
  }

  void take_locked(const Place& place, const std::string& owner) {
    const bool in_patch = std::ranges::any_of(plan_.map->patches, [&](const PermittedPatch& patch) {
      return patch.name == owner && patch.place.memory == place.memory &&
             patch.place.range.contains(place.range);
    });
    (in_patch ? sum_.patch_bytes : sum_.locked_bytes) += place.range.size();
    if (in_patch && (sum_.patches.empty() || sum_.patches.back() != owner)) sum_.patches.push_back(owner);
  }

  void note_nodes(const Place& place) {
    auto it = std::partition_point(owned_.begin(), owned_.end(), [&](const OwnedPlace& owned) {
      return std::pair(owned.place.memory, owned.place.range.end) <=
             std::pair(place.memory, place.range.begin);
    });
    for (; it != owned_.end() && it->place.memory == place.memory && it->place.range.begin < place.range.end;
         ++it)
      sum_.derived_nodes.push_back(it->node);
  }

  const Plan& plan_;
  const std::vector<OwnedPlace> owned_;
  std::vector<RangeSet> in_items_;  // by memory
  std::vector<std::pair<const IdentityField*, ChangedText>> texts_;
  ChangesByItem& sum_;
};

}  // namespace

bool ChangesByItem::empty() const {
  return items.empty() && texts.empty() &&
         editable_bytes + partial_bytes + derived_bytes + patch_bytes + vehicle_bytes + locked_bytes == 0;
}

AxesChanged axes_changed(const Item& item, const std::vector<bool>& changed) {
  return {item.x && changed[*item.x], item.y && changed[*item.y]};
}

ChangesByItem changed_items(const RegionMap& map, const Image& before, const Image& after) {
  ChangesByItem sum;
  sum.items = items_of(map, before, after);
  sum.groups = groups_of(map, sum.items);
  return sum;
}

ChangesByItem changes_by_item(const Plan& plan, const Image& before, const Image& after,
                              const std::vector<ChangedRange>& changes) {
  ChangesByItem sum = changed_items(*plan.map, before, after);
  const std::vector<RangeSet> listed = listed_bytes(*plan.map, sum.items);
  Rest rest(plan, before, after, sum);
  for (const ChangedRange& change : changes) {
    RangeSet left(change.place.range);
    left.remove(listed[change.place.memory].within(change.place.range));
    sum.item_bytes += change.place.range.size() - left.size();
    for (const Range& range : left.ranges())
      rest.take({change.place.memory, range}, change.kind, change.owner);
  }
  rest.finish();
  return sum;
}

}  // namespace calseal
