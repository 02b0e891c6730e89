#include "calseal/cli/image/map_finding.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/change/confine.h"
#include "calseal/change/correct_edit.h"
#include "calseal/check/claims.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/advice.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/plan_report.h"
#include "calseal/report/changes/region_map_report.h"

namespace calseal {
namespace {

Status judge_image(MapFinding& finding, const std::vector<ReadFile>& files, const std::string& name) {
  CALSEAL_ASSIGN(const Read read, load_read(*finding.map, files));
  auto plan = make_plan(*finding.map, read.image);
  if (!plan) return fail(in_file(std::move(plan).error(), name));
  finding.plan = *std::move(plan);
  finding.checks = verify_checks(*finding.plan, read.image);
  if (Status believed = believe_map(*finding.plan, read.image); !believed)
    return fail(in_file(std::move(believed).error(), name));
  CALSEAL_CHECK(require_fixed_point(*finding.plan, read.image));
  finding.pinned = pinned_digest_of(*finding.plan, read.image);
  return {};
}

}  // namespace

Status judge_map(MapFinding& finding, const std::string& path, const std::vector<ReadFile>& files,
                 const std::string& name) {
  CALSEAL_ASSIGN(finding.map, load_region_map(path));
  if (!files.empty()) return judge_image(finding, files, name);
  auto plan = make_plan(*finding.map, blank_image(*finding.map));
  if (plan) {
    finding.plan = *std::move(plan);
  } else if (plan.error().reason != Reason::kReadIncomplete) {
    return fail(in_file(std::move(plan).error(), finding.file));
  }
  return {};
}

std::string finding_text(const MapFinding& finding, bool with_image, const Page& page) {
  if (!finding.map) return {};
  std::string text = finding.file + ": " + region_map_words(*finding.map) + "\n";
  if (!finding.fault) {
    text += labelled(page, "result",
                     std::string("holds together") + (with_image ? " and holds on the image: " : ": ") +
                         region_map_counts(*finding.map),
                     Mark::kGood);
  }
  if (with_image && finding.plan) {
    text += labelled(page, "checks", checks_summary(finding.checks));
    if (finding.pinned) {
      const auto& known = finding.map->evidence.verified_on;
      text += labelled(page, "pinned",
                       digest_text(*finding.pinned) + (std::ranges::count(known, *finding.pinned) != 0
                                                           ? ", which the map was verified on"
                                                           : ": for \"verified_on\""));
    }
    if (!finding.checks.empty())
      text += "\n" + checks_text(*finding.plan, finding.checks, page) + "\n" +
              plan_text(*finding.plan, page) + "\n";
  }
  if (!finding.fault && !finding.plan && !with_image) {
    text += labelled(page, "note",
                     "tables in the image say what is covered: --image FILE judges coverage and order too");
  }
  for (const Advice& advice : advise(*finding.map, finding.plan ? &*finding.plan : nullptr)) {
    text += labelled(page, "advice", advice.text, Mark::kCaution);
  }
  return text;
}

JsonValue finding_json(const MapFinding& finding, bool with_image) {
  JsonValue value = json_object({{"file", json(finding.file)},
                                 {"holds", json(!finding.fault.has_value())},
                                 {"fault", finding.fault ? json_error(*finding.fault) : JsonValue{}}});
  if (!finding.map) return value;
  value.members.emplace_back("region_map", region_map_json(*finding.map));
  value.members.emplace_back("counts", region_map_counts_json(*finding.map));
  value.members.emplace_back(
      "advice",
      json_array(advise(*finding.map, finding.plan ? &*finding.plan : nullptr), [](const Advice& advice) {
        return json_object({{"code", json(advice.code)}, {"text", json(advice.text)}});
      }));
  value.members.emplace_back("plan_known", json(finding.plan.has_value()));
  value.members.emplace_back("plan", finding.plan ? plan_json(*finding.plan) : json_strings({}));
  if (with_image) value.members.emplace_back("checks", checks_json(*finding.map, finding.checks));
  if (with_image)
    value.members.emplace_back("pinned_digest",
                               finding.pinned ? json(digest_text(*finding.pinned)) : JsonValue{});
  return value;
}

}  // namespace calseal
