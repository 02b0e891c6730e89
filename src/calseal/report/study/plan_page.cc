#include "calseal/report/study/plan_page.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/ground.h"
#include "calseal/report/html/parts.h"

namespace calseal {
namespace {

constexpr std::size_t kMostSectors = 200;  // rows

std::size_t mixed_sectors(const WritePlan& plan) {
  return static_cast<std::size_t>(std::ranges::count_if(
      plan.touched, [](const TouchedSector& sector) { return sector.volatile_bytes != 0; }));
}

class PlanPage {
 public:
  explicit PlanPage(const PlanView& view)
      : view_(view),
        map_(*view.layout->map),
        plan_(*view.plan),
        ground_(ground_of(*view.layout, *view.now)) {}

  std::string title() const { return "Write plan, " + map_.controller; }

  Html body() const { return heading() + mind() + glance() + memories() + sectors(); }

 private:
  Html heading() const {
    return element("header", element("p.kind", "Write plan"),
                   element("h1", said(map_.controller), element("span.title", "What a write would touch")),
                   element("p.lead", "Region map ", said(region_map_words(map_)),
                           ". calseal itself never writes to a controller."));
  }

  Html mind() const {
    Html out;
    if (const std::size_t mixed = mixed_sectors(plan_); mixed > 0)
      out += warning(counted(mixed, "sector is MIXED", "sectors are MIXED") +
                     ": learned values are erased with it and must be written back fresh.");
    if (!plan_.without_sector.empty())
      out += warning(counted(plan_.without_sector.size(), "changed range lies", "changed ranges lie") +
                     " where the map declares no erase sector.");
    out += warning("Keep the battery on a supply and do not interrupt a write.");
    return section("Mind", Html(), out);
  }

  static std::string duration_at(std::uint64_t bytes, std::uint64_t rate) {
    const std::uint64_t seconds = transfer_seconds(bytes, rate);
    return bytes_text(bytes) + ", " + (seconds < 60 ? "" : grouped(seconds / 60) + " min ") +
           std::to_string(seconds % 60) + " s at " + grouped(rate) + " bytes/s";
  }

  Html glance() const {
    const auto figure = [](std::uint64_t value, const Html& label) {
      return element("div", element("dt", label), element("dd", number(value)));
    };
    Facts facts;
    const LinkRates& rates = view_.rates.rates;
    facts.add("calibration", duration_at(plan_.calibration_bytes, rates.write));
    facts.add("full write", duration_at(plan_.full_bytes, rates.write));
    facts.add("full read", duration_at(plan_.full_bytes, rates.read));
    return section("At a glance",
                   "Times are for the transfer alone; erasing, unlocking and the controller's own checks "
                   "come on top.",
                   element("dl.figures", figure(plan_.changed_bytes, "bytes changed"),
                           figure(plan_.touched.size(), "erase sectors touched"),
                           figure(mixed_sectors(plan_), "of them mixed")) +
                       facts.html());
  }

  Html memories() const {
    Html out;
    for (std::size_t m = 0; m < map_.memories.size(); ++m) {
      MemoryPicture picture = memory_on(ground_, m);
      std::uint64_t touched = 0;
      for (const Range& range : view_.changed[m].ranges()) picture.marks.push_back({range, false, false});
      for (const TouchedSector& sector : plan_.touched) {
        if (sector.place.memory != m) continue;
        ++touched;
        const bool mixed = sector.volatile_bytes != 0;
        picture.lane.push_back({sector.place.range, mixed ? "MIXED" : "sector", mixed});
      }
      const std::string words =
          touched == 0 ? "no sector touched"
                       : std::to_string(touched) + (touched == 1 ? " sector" : " sectors") + " touched";
      const std::string size = size_words(picture.extent.size());
      picture.spoken = "Memory " + map_.memories[m].name + ", " + size + ": " + words;
      out += element("h3", said(map_.memories[m].name), element("span.quiet", ", " + size + ", " + words)) +
             memory_picture(picture);
    }
    return section("Memory",
                   "To scale. A bar below a strip is an erase sector that a write erases and fills again as "
                   "a whole; an edged one is mixed.",
                   out + kinds_legend(ground_, pin_legend(Pin::kChanged, "changed", "from now to after")));
  }

  Html sectors() const {
    Table table("erase sectors touched",
                {{"sector"}, {"size", true}, {"changed", true}, {"volatile", true}, {"mixed"}});
    for (std::size_t i = 0; i < plan_.touched.size() && i < kMostSectors; ++i) {
      const TouchedSector& sector = plan_.touched[i];
      table.add({code(place_text(map_, sector.place)), size_words(sector.place.range.size()),
                 number(sector.changed), number(sector.volatile_bytes),
                 sector.volatile_bytes == 0 ? Html("no") : Html("MIXED")});
    }
    Html out = table.empty() ? element("p", "None.") : table.html();
    if (plan_.touched.size() > kMostSectors)
      out += element("p.quiet", "and " + grouped(plan_.touched.size() - kMostSectors) +
                                    " more; calseal plan lists them");
    return section("Erase sectors", "Those with a changed byte.", out);
  }

  const PlanView& view_;
  const RegionMap& map_;
  const WritePlan& plan_;
  PictureGround ground_;
};

}  // namespace

std::string write_plan_html(const PlanView& view) {
  const PlanPage page(view);
  return html_document({page.title(), view.tool, page.body()});
}

JsonValue write_plan_summary_json(const PlanView& view) {
  const WritePlan& plan = *view.plan;
  return json_object({{"kind", json("plan")},
                      {"changed_bytes", json(plan.changed_bytes)},
                      {"sectors", json(plan.touched.size())},
                      {"mixed", json(mixed_sectors(plan))},
                      {"without_sector", json(plan.without_sector.size())},
                      {"seconds", json(transfer_seconds(plan.calibration_bytes, view.rates.rates.write))}});
}

}  // namespace calseal
