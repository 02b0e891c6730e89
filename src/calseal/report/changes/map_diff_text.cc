#include "calseal/report/changes/map_diff_text.h"

#include "calseal/base/text.h"
#include "calseal/report/changes/places.h"

namespace calseal {

std::string map_diff_text(const RegionMap& before, const RegionMap& after, const MapDiff& diff,
                          const Page& page) {
  std::string text =
      labelled(page, "before", region_map_words(before)) + labelled(page, "after", region_map_words(after));
  text += diff.widens
              ? labelled(page, "result", "WIDENS what may change, or verifies less: read every line below",
                         Mark::kBad)
              : labelled(page, "result", "widens nothing", Mark::kGood);
  Columns rows;
  const auto flag = [](bool widens, bool looser = false) {
    return Cell{widens ? "WIDENS" : looser ? "look" : "", widens ? Mark::kBad : Mark::kPlain, false};
  };
  for (const PolicyChange& change : diff.policies) {
    rows.add(
        {flag(change.widens),
         {change.memory + " " + address_text(change.range.begin) + "-" + address_text(change.range.end - 1)},
         {std::string(policy_name(change.before)) + " -> " + std::string(policy_name(change.after))}});
  }
  for (const DeclarationChange& change : diff.declarations) {
    const bool looser =
        change.kind == DeclarationChange::Kind::kItem && change.how != DeclarationChange::How::kAdded;
    rows.add({flag(change.widens, looser),
              {std::string(declaration_kind_name(change.kind)) + " " + printable(change.name)},
              {std::string(declaration_how_name(change.how))}});
  }
  return rows.empty() ? text : text + "\n" + rows.text(page, 2);
}

}  // namespace calseal
