// What changed in words of the trade: items in their units, named by their axes, and one line for each kind
// of the rest. For people, for programs, and in one line for each item.
#pragma once

#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/change/by_item.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// How much a person sees, and how the rest is to be had.
struct ShownItems {
  std::size_t cells = 8;  // of one item, or items of one repetition
  const char* rest = "--json lists them";
};
inline constexpr ShownItems kFirstItems{8, "--all shows them"};
inline constexpr ShownItems kAllItems{std::numeric_limits<std::size_t>::max(), ""};

// Two images and what differs; all must outlive a report.
struct ItemsCompared {
  const RegionMap& map;
  const Image& before;
  const Image& after;
  const ChangesByItem& changes;
};

// Items, each with how many cells changed and how far, and its first cells; values past their limits; then
// the rest. `checks` are those of the image after (Confinement::checks); nothing is said of derived bytes
// being right without them. Empty when nothing changed.
std::string item_report_text(const ItemsCompared& compared, const Plan& plan,
                             const std::vector<CheckOutcome>& checks, const Page& page,
                             const ShownItems& shown = {});

// docs/json-output.md, "items".
JsonValue item_report_json(const ItemsCompared& compared, const Plan& plan);

// One line for each group, without line ends: "torque limit: 12 of 160 cells, +2 to +12 Nm, mean +7.5".
// Texts of identity and bytes that no item names follow; derived bytes do not count as news.
std::vector<std::string> item_summaries(const ChangesByItem& changes);

// Items alone, with what leaves its limits, where no plan is at hand. Empty text when no item changed.
std::string item_changes_text(const RegionMap& map, const Image& before, const Image& after,
                              const Page& page);
JsonValue item_changes_json(const RegionMap& map, const Image& before, const Image& after);

}  // namespace calseal
