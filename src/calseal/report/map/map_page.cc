#include "calseal/report/map/map_page.h"

#include <algorithm>
#include <optional>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/map/segments.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/region_map_report.h"
#include "calseal/report/changes/strip.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/ground.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/map/check_graph.h"

namespace calseal {
namespace {

constexpr std::size_t kMostRegions = 200;  // rows
constexpr std::size_t kMostGuesses = 24;

// Editable bytes that no check reads: what an editor puts there is verified by nothing in the controller.
std::vector<RangeSet> uncovered_bytes(const Plan& plan) {
  std::vector<RangeSet> out;
  for (std::size_t m = 0; m < plan.map->memories.size(); ++m) {
    RangeSet set = plan.bytes_of(m, SpanKind::kEditable);
    for (const PlanNode& node : plan.nodes) {
      if (!node.is_copy) set.remove(node.reads[m]);
    }
    out.push_back(std::move(set));
  }
  return out;
}

// What no check or copy reads or writes, of all that exists.
std::vector<RangeSet> unread_bytes(const Plan& plan) {
  std::vector<RangeSet> out;
  for (std::size_t m = 0; m < plan.map->memories.size(); ++m) {
    RangeSet set = segments_of(plan.map->memories[m]);
    for (const PlanNode& node : plan.nodes) {
      set.remove(node.reads[m]);
      for (const Place& place : node.writes) {
        if (place.memory == m) set.remove(place.range);
      }
    }
    out.push_back(std::move(set));
  }
  return out;
}

std::uint64_t total_of(const std::vector<RangeSet>& sets) {
  std::uint64_t total = 0;
  for (const RangeSet& set : sets) total += set.size();
  return total;
}

class MapPage {
 public:
  explicit MapPage(const MapView& view)
      : view_(view),
        map_(*view.map),
        declared_(view.plan != nullptr ? Plan() : declared_plan(map_)),
        plan_(view.plan != nullptr ? *view.plan : declared_),
        ground_(declared_ground(plan_)),
        unread_(view.plan != nullptr ? unread_bytes(plan_) : std::vector<RangeSet>()) {}

  std::string title() const { return "Region map " + region_map_words(map_); }

  Html body() const { return heading() + band() + glance() + memories() + graph() + regions(); }

 private:
  Html heading() const {
    return element("header", element("p.kind", "Region map"),
                   element("h1", said(map_.name), element("span.title", said(region_map_words(map_)))),
                   element("p.lead", said(map_.controller), map_.title.empty() ? Html() : ", ",
                           map_.title.empty() ? Html() : said(map_.title)));
  }

  Html band() const {
    if (view_.checks == nullptr)
      return verdict_band(Stance::kNotVerified, "DECLARED",
                          "What the map says. Whether it is true shows on a read: --read FILE.", Html());
    if (any_fails(*view_.checks))
      return verdict_band(Stance::kBad, "DOES NOT HOLD", checks_summary(*view_.checks) + " on this read.",
                          Html());
    return verdict_band(Stance::kSealOnly, "HOLDS ON THIS READ", checks_summary(*view_.checks) + ".",
                        "That does not show that the map is right everywhere.");
  }

  Html glance() const {
    std::uint64_t all = 0, editable = 0;
    for (std::size_t m = 0; m < map_.memories.size(); ++m) {
      all += map_.memories[m].extent.size();
      editable += plan_.bytes_of(m, SpanKind::kEditable).size();
    }
    Facts facts;
    facts.add("declares", region_map_counts(map_));
    facts.add("may be edited",
              size_words(editable) + ", " + share_of_image(all == 0 ? 0 : editable * 10000 / all));
    if (view_.plan != nullptr) {
      const std::vector<RangeSet> bare = uncovered_bytes(plan_);
      facts.add("under no checksum", total_of(bare) == 0 ? Html("no editable byte")
                                                         : size_words(total_of(bare)) +
                                                               " of it: " + said(region_words(map_, bare)));
    }
    if (view_.plan != nullptr && total_of(unread_) > 0)
      facts.add("read by nothing", size_words(total_of(unread_)) + ": " + said(region_words(map_, unread_)));
    facts.add("digest", code(digest_text(map_.digest)));
    if (!map_.note.empty()) facts.add("note", said(map_.note));
    Html guesses;
    for (std::size_t i = 0; i < map_.evidence.guesses.size() && i < kMostGuesses; ++i)
      guesses += warning("A guess: " + said(map_.evidence.guesses[i]));
    return section("At a glance", Html(), facts.html() + guesses);
  }

  Html memories() const {
    Html out;
    for (std::size_t m = 0; m < map_.memories.size(); ++m) {
      MemoryPicture picture = memory_on(ground_, m);
      for (const PlanNode& node : plan_.nodes) {
        for (const Place& place : node.writes) {
          if (place.memory == m) picture.marks.push_back({place.range, true, false});
        }
      }
      if (view_.plan != nullptr) {
        for (const Range& range : unread_[m].ranges())
          picture.lane.push_back({range, "read by nothing", false});
      }
      std::ranges::sort(picture.marks, {}, [](const PictureMark& mark) { return mark.range.begin; });
      const std::string size = size_words(picture.extent.size());
      picture.spoken = "Memory " + map_.memories[m].name + ", " + size + ", " +
                       counted(picture.boxes.size(), "region", "regions");
      out += element("h3", said(map_.memories[m].name), element("span.quiet", ", " + size)) +
             memory_picture(picture);
    }
    const Html slots = pin_legend(Pin::kCorrected, "value", "where a check or copy keeps it");
    return section("Memory",
                   view_.plan == nullptr
                       ? "To scale, as the map declares it. Bytes without a region are locked."
                       : "To scale, as the map declares it. Bytes without a region are locked. A bar below a "
                         "strip is what no check and no copy reads: damage there shows nowhere.",
                   out + kinds_legend(ground_, slots));
  }

  Html graph() const {
    if (map_.checksums.empty() && map_.copies.empty()) return {};
    if (view_.plan == nullptr)
      return section("Order of correction", Html(),
                     element("p", "Tables in the image say what is covered, so this needs one: --read FILE"));
    return section("Order of correction",
                   "Each check is corrected after those whose value it reads; a line runs from such a value "
                   "to every check that reads it. The strips show what is read, in grey, and where the value "
                   "lies, by a pin.",
                   check_graph(plan_, view_.checks));
  }

  // The checks that read a region, by name.
  std::string checks_over(const Region& region) const {
    std::string text;
    std::size_t count = 0;
    for (const PlanNode& node : plan_.nodes) {
      if (node.reads.empty() || !node.reads[region.place.memory].overlaps(region.place.range)) continue;
      if (++count <= 4) text += (count == 1 ? "" : ", ") + node.name;
    }
    if (count > 4) text += " and " + grouped(count - 4) + " more";
    return text;
  }

  Html regions() const {
    if (map_.regions.empty()) return {};
    std::vector<TableColumn> columns = {{"region"}, {"place"}, {"policy"}, {"size", true}};
    if (view_.plan != nullptr) columns.push_back({"read by"});
    Table table("regions", columns);
    for (std::size_t i = 0; i < map_.regions.size() && i < kMostRegions; ++i) {
      const Region& region = map_.regions[i];
      std::vector<Html> cells = {said(region.name), code(place_text(map_, region.place)),
                                 element("span.state", policy_name(region.policy)),
                                 element("span.state", size_words(region.place.range.size()))};
      if (view_.plan != nullptr) {
        const std::string over = checks_over(region);
        cells.push_back(over.empty() ? element("span.quiet", "no check") : said(over));
      }
      table.add(cells);
    }
    Html out = table.html();
    if (map_.regions.size() > kMostRegions)
      out += element("p.quiet", "and " + grouped(map_.regions.size() - kMostRegions) +
                                    " more; calseal regions show lists them");
    return section("Regions", "By address, with the checks and copies that read a byte of them.", out);
  }

  const MapView& view_;
  const RegionMap& map_;
  Plan declared_;
  const Plan& plan_;
  PictureGround ground_;
  std::vector<RangeSet> unread_;  // by memory; with a plan
};

}  // namespace

std::string map_html(const MapView& view) {
  const MapPage page(view);
  return html_document({page.title(), view.tool, page.body()});
}

JsonValue map_summary_json(const MapView& view) {
  JsonValue value = json_object({{"kind", json("region-map")},
                                 {"regions", json(view.map->regions.size())},
                                 {"checks", json(view.map->checksums.size() + view.map->copies.size())}});
  if (view.checks != nullptr) value.members.emplace_back("failing", json(count_checks(*view.checks).failing));
  if (view.plan != nullptr)
    value.members.emplace_back("uncovered_bytes", json(total_of(uncovered_bytes(*view.plan))));
  return value;
}

}  // namespace calseal
