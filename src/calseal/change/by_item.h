// What changed between two images, by what it means: the calibration items that the region map names, texts
// of identity, and one sum for each kind of what is left. Every changed byte counts exactly once.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/change/confine.h"
#include "calseal/map/items.h"

namespace calseal {

// How far the values of one or more items moved.
struct Movement {
  std::uint64_t changed = 0, all = 0;  // elements
  std::uint64_t without_value = 0;     // of the changed ones: no physical value before or after
  Quantity least, most, mean;          // after less before, of the others; undefined where there are none
  int places = 0;                      // decimals that the values need
};

// Which axes of an item have a point that changed.
struct AxesChanged {
  bool x = false, y = false;
  bool any() const { return x || y; }
};
// `changed` says it of every item of the region map.
AxesChanged axes_changed(const Item& item, const std::vector<bool>& changed);

struct ChangedItem {
  ItemChange change;
  std::vector<int> places;  // decimals that each of the elements needs
  Movement movement;
  AxesChanged axes;
};

// Items of one declaration: one item, or those of a repetition.
struct ItemGroup {
  std::string name;                  // of the item; of several, without their numbers
  std::vector<std::size_t> members;  // into ChangesByItem::items, ascending
  std::uint64_t declared = 1;        // items of this declaration
  Movement movement;                 // of all changed members
};

// An identity field in editable bytes, outside items.
struct ChangedText {
  std::string name, before, after;  // texts are escaped
  std::uint64_t bytes = 0;          // that differ
};

struct ChangesByItem {
  std::vector<ChangedItem> items;  // in map order (by memory and address)
  std::vector<ItemGroup> groups;   // in the order of their first member
  std::vector<ChangedText> texts;  // in map order
  // What no item and no text names.
  std::uint64_t editable_bytes = 0, editable_runs = 0;
  std::uint64_t partial_bytes = 0;  // editable, in elements of items of which not every byte is known
  std::uint64_t derived_bytes = 0;
  std::vector<std::size_t> derived_nodes;  // into Plan::nodes: the checksums and copies that these belong to
  std::uint64_t patch_bytes = 0;
  std::vector<std::string> patches;  // names, ascending by place
  std::uint64_t vehicle_bytes = 0;   // volatile and binding
  std::uint64_t locked_bytes = 0;    // outside permitted patches: a revision may not change them

  std::uint64_t item_bytes = 0;  // inside the items above

  bool empty() const;
};

// Items alone: what the region map says about one image or another does not matter here.
ChangesByItem changed_items(const RegionMap& map, const Image& before, const Image& after);

// `changes` are all differences (Confinement::changes, compare_images()); `plan` is of `before`.
ChangesByItem changes_by_item(const Plan& plan, const Image& before, const Image& after,
                              const std::vector<ChangedRange>& changes);

}  // namespace calseal
