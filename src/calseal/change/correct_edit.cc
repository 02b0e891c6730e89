#include "calseal/change/correct_edit.h"

#include "calseal/map/identity.h"

namespace calseal {

Result<CorrectedEdit> correct_edit(const RegionMap& map, Image& edited, const std::string& edited_name,
                                   const Image* base, const std::string& base_name) {
  const Image& judged = base != nullptr ? *base : edited;
  const std::string& judged_name = base != nullptr ? base_name : edited_name;
  auto plan = make_plan(map, judged);
  if (!plan) return fail(in_file(std::move(plan).error(), judged_name));
  const Status believed = base != nullptr ? believe_map(*plan, judged) : recognise_family(map, judged);
  if (!believed) return fail(in_file(believed.error(), judged_name));
  auto report = correct(*plan, edited);
  if (!report) return fail(in_file(std::move(report).error(), edited_name));
  CorrectedEdit done{*std::move(plan), *std::move(report), std::nullopt};
  if (base != nullptr) done.proof = prove_confinement(done.plan, *base, edited);
  return done;
}

Status require_fixed_point(const Plan& plan, Image image) {
  CALSEAL_ASSIGN(const CorrectionReport report, correct(plan, image));
  if (report.corrections.empty()) return {};
  return fail(
      {Reason::kMapNotBelieved, "",
       report.corrections.front().name + ", " + place_text(*plan.map, report.corrections.front().place),
       "a correction although every checksum holds", "nothing to correct", "mend the region map"});
}

}  // namespace calseal
