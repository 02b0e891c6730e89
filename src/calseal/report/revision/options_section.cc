#include "calseal/report/revision/options_section.h"

#include <map>

#include "calseal/bundle/order_lines.h"
#include "calseal/report/html/parts.h"

namespace calseal {

Html options_section(const Manifest& manifest, const std::vector<PlacedChange>& changes, bool claimed) {
  const std::vector<OrderLine> ordered = order_lines(manifest);
  if (ordered.empty() && manifest.options.empty()) return {};
  const std::string whose = claimed ? "as the bundle claims." : "in the words of the shop.";
  std::map<std::string_view, std::uint64_t> bytes;
  for (const PlacedChange& change : changes) bytes[change.option] += change.range.size();
  if (ordered.empty()) {
    Table table("options", {{"option"}, {"what it is"}, {"bytes", true}});
    for (const ManifestOption& option : manifest.options)
      table.add({said(option.name), said(option.title), number(bytes[option.name])});
    return section("Options", "What is in it, " + whose, table.html());
  }
  Table table("options", {{"option"}, {"what it is"}, {"in this revision"}, {"bytes", true}});
  for (const OrderLine& line : ordered)
    table.add({said(line.name), said(line.title), said(order_words(line)), number(bytes[line.name])});
  return section("Ordered – in this revision",
                 "The order as noted at " + manifest.ordered.time + ", " + whose +
                     " Only the changed ranges are proved.",
                 table.html());
}

}  // namespace calseal
