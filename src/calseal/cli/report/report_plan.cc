#include "calseal/cli/report/report_plan.h"

#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/report/study/plan_page.h"

namespace calseal {

Result<MadeReport> report_plan(const ReportOptions& options) {
  if (options.regions.size() != 1 || options.after.empty() || !options.before.empty() ||
      !options.subjects.empty())
    return fail(usage_error("--now", "not what a write plan is made of", "--regions, --now and --after alone",
                            "calseal report --help has examples"));
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions.front()));
  CALSEAL_ASSIGN(const Read now, load_read_arguments(map, options.now));
  CALSEAL_ASSIGN(const Read after, load_read_arguments(map, options.after));
  auto layout = make_plan(map, now.image);
  if (!layout) return fail(in_file(std::move(layout).error(), read_name(options.now)));
  const WritePlan plan = make_write_plan(*layout, now.image, after.image);
  PlanView view{&*layout, &now.image, &plan, std::vector<RangeSet>(map.memories.size()), {}, options.tool};
  walk_changes(*layout, now.image, after.image, [&](const ChangedRange& change) {
    view.changed[change.place.memory].add(change.place.range);
  });
  if (map.link) view.rates = {*map.link, "region map", "region map"};
  return MadeReport{write_plan_html(view), write_plan_summary_json(view),
                    bytes_text(plan.changed_bytes) + " changed in " + std::to_string(plan.touched.size()) +
                        (plan.touched.size() == 1 ? " erase sector" : " erase sectors"),
                    0};
}

}  // namespace calseal
