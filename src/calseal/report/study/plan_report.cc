#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/study/study_report.h"

namespace calseal {
namespace {

std::string duration(std::uint64_t seconds) {
  if (seconds < 60) return std::to_string(seconds) + " s";
  const std::string rest = std::to_string(seconds % 60);
  return std::to_string(seconds / 60) + " min " + (rest.size() == 1 ? "0" : "") + rest + " s";
}

std::string at_rate(std::uint64_t bytes, std::uint64_t rate, const std::string& from) {
  return bytes_text(bytes) + ", " + duration(transfer_seconds(bytes, rate)) + " at " + grouped(rate) +
         " bytes/s" + (from == "region map" ? ", the link of the region map" : "");
}

}  // namespace

std::string write_plan_text(const RegionMap& map, const WritePlan& plan, const PlanRates& rates,
                            const Page& page) {
  std::string text = labelled(page, "changed",
                              bytes_text(plan.changed_bytes) + " in " +
                                  counted(plan.touched.size(), "erase sector", "erase sectors"));
  Columns columns;
  columns.add({{"sector", Mark::kDim},
               {"changed", Mark::kDim, true},
               {"volatile", Mark::kDim, true},
               {"", Mark::kDim}});
  for (const TouchedSector& sector : plan.touched) {
    const bool mixed = sector.volatile_bytes != 0;
    columns.add({{place_text(map, sector.place)},
                 {grouped(sector.changed), Mark::kPlain, true},
                 {grouped(sector.volatile_bytes), Mark::kPlain, true},
                 {mixed ? "MIXED: learned values are erased with it and must be written back fresh" : "",
                  Mark::kCaution}});
  }
  if (!plan.touched.empty()) text += "\n" + columns.text(page, 2) + "\n";
  for (const Place& place : plan.without_sector) {
    text += labelled(page, "no sector", place_text(map, place) + ": the map declares no erase sector here",
                     Mark::kCaution);
  }
  text += labelled(page, "calibration", at_rate(plan.calibration_bytes, rates.rates.write, rates.write_from));
  text += labelled(page, "full write", at_rate(plan.full_bytes, rates.rates.write, rates.write_from));
  text += labelled(page, "full read", at_rate(plan.full_bytes, rates.rates.read, rates.read_from));
  return text + labelled(page, "note",
                         "transfer alone; erasing, unlocking and the controller's own checks take longer. "
                         "Keep the battery on a supply and do not interrupt a write.");
}

JsonValue write_plan_json(const RegionMap& map, const WritePlan& plan, const PlanRates& rates) {
  const auto cost = [](std::uint64_t bytes, std::uint64_t rate, const std::string& from) {
    return json_object({{"bytes", json(bytes)},
                        {"rate", json(rate)},
                        {"rate_from", json(from)},
                        {"seconds", json(transfer_seconds(bytes, rate))}});
  };
  return json_object(
      {{"changed_bytes", json(plan.changed_bytes)},
       {"sectors", json_array(plan.touched,
                              [&](const TouchedSector& sector) {
                                return json_object({{"place", place_json(map, sector.place)},
                                                    {"changed", json(sector.changed)},
                                                    {"volatile", json(sector.volatile_bytes)},
                                                    {"mixed", json(sector.volatile_bytes != 0)}});
                              })},
       {"without_sector",
        json_array(plan.without_sector, [&](const Place& place) { return place_json(map, place); })},
       {"calibration", cost(plan.calibration_bytes, rates.rates.write, rates.write_from)},
       {"full_write", cost(plan.full_bytes, rates.rates.write, rates.write_from)},
       {"full_read", cost(plan.full_bytes, rates.rates.read, rates.read_from)}});
}

}  // namespace calseal
