#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/strip.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/ground.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/layout/page.h"
#include "calseal/report/map/map_page.h"

namespace calseal {
namespace {

constexpr std::size_t kMostRows = 200;  // of either table

class MapDiffPage {
 public:
  explicit MapDiffPage(const MapDiffView& view)
      : diff_(*view.diff),
        before_(*view.before),
        after_(*view.after),
        ground_before_(declared_ground(declared_plan(before_))),
        ground_after_(declared_ground(declared_plan(after_))) {}

  std::string title() const { return "Region maps " + after_.name + ", compared"; }

  Html body() const { return heading() + band() + memories() + policies() + declarations(); }

 private:
  Html heading() const {
    return element("header", element("p.kind", "Two region maps"),
                   element("h1", said(after_.name),
                           element("span.title", said(region_map_words(before_)), " → ",
                                   said(region_map_words(after_)))),
                   element("p.lead", said(after_.controller)));
  }

  Html band() const {
    Facts facts;
    facts.add("before", code(digest_text(before_.digest)));
    facts.add("after", code(digest_text(after_.digest)));
    if (diff_.widens)
      return verdict_band(Stance::kBad, "WIDENS",
                          "More may change than before, or less is verified: read every row marked so.",
                          facts.html());
    return verdict_band(Stance::kGood, "WIDENS NOTHING",
                        "Nothing more may change, and nothing less is verified.", facts.html());
  }

  Html side(const PictureGround& ground, const std::string& memory, std::string_view which) const {
    const std::size_t m = ground.map->memory_index(memory);
    if (m == ground.map->memories.size())
      return element("p.quiet", std::string(which) + ": this map has no such memory");
    MemoryPicture picture = memory_on(ground, m);
    std::uint64_t bytes = 0;
    for (const PolicyChange& change : diff_.policies) {
      if (change.memory != memory || !change.range.overlaps(picture.extent)) continue;
      const Range range = intersect(change.range, picture.extent);
      picture.marks.push_back({{range.begin, range.begin + 1}, false, change.widens});
      picture.lane.push_back(
          {range, std::string(policy_name(&ground == &ground_before_ ? change.before : change.after)), true});
      bytes += range.size();
    }
    picture.spoken =
        "Memory " + memory + " " + std::string(which) + ": " + bytes_text(bytes) + " of another policy";
    return element("h4", which) + memory_picture(picture);
  }

  Html memories() const {
    std::vector<std::string> names;
    for (const RegionMap* map : {&before_, &after_}) {
      for (const MemoryDeclaration& memory : map->memories) {
        if (std::ranges::find(names, memory.name) == names.end()) names.push_back(memory.name);
      }
    }
    Html out;
    for (const std::string& name : names)
      out += element("h3", said(name)) + side(ground_before_, name, "before") +
             side(ground_after_, name, "after");
    const Html pins = pin_legend(Pin::kChanged, "differs", "another policy, as far as the bar below goes") +
                      pin_legend(Pin::kRefused, "widens", "the same, and more may change there");
    return section("Memory", "Both to scale, as the maps declare them.",
                   out + kinds_legend(ground_after_, pins));
  }

  static Html widens(bool it_does) {
    return it_does
               ? element("span.state.bad", element("span.sign", {{"aria-hidden", "true"}}, "✕"), " WIDENS")
               : Html("no");
  }

  static Html left_out(std::size_t count) {
    return count <= kMostRows ? Html()
                              : element("p.quiet", "and " + grouped(count - kMostRows) +
                                                       " more; calseal regions diff lists them");
  }

  Html policies() const {
    if (diff_.policies.empty()) return {};
    Table table("policies that differ",
                {{"place"}, {"before"}, {"after"}, {"size", true}, {"region after"}, {"widens"}});
    for (std::size_t i = 0; i < diff_.policies.size() && i < kMostRows; ++i) {
      const PolicyChange& change = diff_.policies[i];
      const std::size_t m = after_.memory_index(change.memory);
      const std::string region = m == after_.memories.size() ? "" : region_at(after_, m, change.range.begin);
      table.add({code(change.memory + " " + range_text(change.range)), policy_name(change.before),
                 policy_name(change.after), size_words(change.range.size()),
                 region.empty() ? element("span.quiet", "no region") : said(region), widens(change.widens)});
    }
    return section("Policies", "Who may change which bytes.", table.html() + left_out(diff_.policies.size()));
  }

  Html declarations() const {
    if (diff_.declarations.empty()) return {};
    Table table("declarations that differ", {{"declaration"}, {"what"}, {"change"}, {"widens"}});
    for (std::size_t i = 0; i < diff_.declarations.size() && i < kMostRows; ++i) {
      const DeclarationChange& change = diff_.declarations[i];
      const Html name = change.name.empty() ? Html(declaration_kind_name(change.kind)) : said(change.name);
      table.add({name, declaration_kind_name(change.kind), declaration_how_name(change.how),
                 widens(change.widens)});
    }
    return section(
        "Checks, items and the rest",
        "Checksums, copies, patches, identity fields, items and all else that one map has otherwise.",
        table.html() + left_out(diff_.declarations.size()));
  }

  const MapDiff& diff_;
  const RegionMap &before_, &after_;
  PictureGround ground_before_, ground_after_;
};

}  // namespace

std::string map_diff_html(const MapDiffView& view) {
  const MapDiffPage page(view);
  return html_document({page.title(), view.tool, page.body()});
}

JsonValue map_diff_summary_json(const MapDiffView& view) {
  return json_object({{"kind", json("region-maps")},
                      {"widens", json(view.diff->widens)},
                      {"policies", json(view.diff->policies.size())},
                      {"declarations", json(view.diff->declarations.size())}});
}

}  // namespace calseal
