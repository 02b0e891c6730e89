#include "calseal/report/changes/checks_report.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/layout/signs.h"

namespace calseal {
namespace {

constexpr std::size_t kValueWidth = 24;  // digits of a value shown to people; JSON has them all

std::string short_value(const std::string& value) {
  return value.size() <= kValueWidth ? value : value.substr(0, kValueWidth) + "...";
}

// A check's place is as long as its value, so where it begins says enough.
std::string start_text(const RegionMap& map, const Place& place) {
  return map.memories[place.memory].name + " " + address_text(place.range.begin);
}

std::string place_of(const Plan& plan, const CheckOutcome& check) {
  if (check.places.empty()) return "rule";
  std::string text = (check.is_rule ? "balance " : "") + start_text(*plan.map, check.places.front());
  if (check.places.size() > 1) text += " and " + counted(check.places.size() - 1, "more", "more");
  if (check.floating) text += ", floating";
  return check.is_copy && check.state == CheckState::kFails ? text + ": " + check.detail : text;
}

std::string computed_of(const CheckOutcome& check) {
  if (check.is_copy) return "";
  return check.state == CheckState::kHolds ? "the same" : short_value(check.computed);
}

std::string kind_of(const CheckOutcome& check) {
  return check.is_copy ? "copy" : check.is_rule ? "rule" : "checksum";
}

}  // namespace

CheckCounts count_checks(const std::vector<CheckOutcome>& checks) {
  CheckCounts counts;
  for (const CheckOutcome& check : checks) {
    switch (check.state) {
      case CheckState::kHolds:
        ++counts.holding;
        break;
      case CheckState::kFails:
        ++counts.failing;
        break;
      case CheckState::kNotProvable:
        ++counts.not_provable;
        break;
    }
  }
  return counts;
}

std::string checks_summary(const std::vector<CheckOutcome>& checks) {
  const CheckCounts counts = count_checks(checks);
  if (checks.empty()) return "no checksums or copies are declared";
  std::string text =
      grouped(counts.holding) + " of " + grouped(checks.size()) + (checks.size() == 1 ? " holds" : " hold");
  if (counts.failing != 0) text += ", " + counted(counts.failing, "fails", "fail");
  if (counts.not_provable != 0)
    text += ", " + counted(counts.not_provable, "is not provable", "are not provable");
  return text;
}

std::string checks_text(const Plan& plan, const std::vector<CheckOutcome>& checks, const Page& page) {
  Columns columns;
  Columns apart;
  columns.add({{"state", Mark::kDim},
               {"checksum", Mark::kDim},
               {"algorithm", Mark::kDim},
               {"stored", Mark::kDim},
               {"computed", Mark::kDim},
               {"place", Mark::kDim}});
  for (const CheckOutcome& check : checks) {
    if (check.state == CheckState::kNotProvable) {
      apart.add({{state_text(check.state), state_mark(check.state)},
                 {check.name},
                 {printable(check.algorithm)},
                 {check.detail}});
      continue;
    }
    columns.add({{state_text(check.state), state_mark(check.state)},
                 {check.name},
                 {printable(check.algorithm)},
                 {short_value(check.stored)},
                 {computed_of(check)},
                 {place_of(plan, check)}});
  }
  std::string text = count_checks(checks).not_provable == checks.size() ? "" : columns.text(page, 2);
  if (!apart.empty()) text += (text.empty() ? "" : "\n") + apart.text(page, 2);
  return text;
}

JsonValue checks_json(const RegionMap& map, const std::vector<CheckOutcome>& checks) {
  return json_array(checks, [&](const CheckOutcome& check) {
    return json_object(
        {{"name", json(check.name)},
         {"kind", json(kind_of(check))},
         {"algorithm", json(check.algorithm)},
         {"state", json(check_state_name(check.state))},
         {"floating", json(check.floating)},
         {"stored", json(check.stored)},
         {"computed", json(check.computed)},
         {"places", json_array(check.places, [&](const Place& place) { return place_json(map, place); })},
         {"detail", json(check.detail)}});
  });
}

}  // namespace calseal
