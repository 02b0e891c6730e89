#include "calseal/cli/report/report_maps.h"

#include <optional>

#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/map/map_page.h"

namespace calseal {
namespace {

Result<MadeReport> report_map_diff(const ReportOptions& options) {
  if (!options.reads.empty())
    return fail(usage_error("--read", "an image and two region maps", "an image with one region map",
                            "leave out --read or --since"));
  CALSEAL_ASSIGN(const RegionMap before, load_region_map(options.since));
  CALSEAL_ASSIGN(const RegionMap after, load_region_map(options.bundle));
  const MapDiff diff = diff_region_maps(before, after);
  const MapDiffView view{&before, &after, &diff, options.tool};
  return MadeReport{map_diff_html(view), map_diff_summary_json(view),
                    diff.widens ? "WIDENS what may change, or verifies less" : "widens nothing",
                    diff.widens ? 1 : 0};
}

}  // namespace

bool begins_as_region_map(ByteView beginning) {
  for (const std::uint8_t byte : beginning) {
    if (byte == '{') return true;
    if (byte != ' ' && byte != '\n' && byte != '\r' && byte != '\t') return false;
  }
  return false;
}

Result<MadeReport> report_map(const ReportOptions& options) {
  if (!options.since.empty()) return report_map_diff(options);
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.bundle));
  std::optional<Read> read;
  if (!options.reads.empty()) {
    CALSEAL_ASSIGN(read, load_read_arguments(map, options.reads));
  }
  auto plan = make_plan(map, read ? read->image : blank_image(map));
  // Tables in the image say what is covered: without one the map is shown as far as it goes.
  if (!plan && (read || plan.error().reason != Reason::kReadIncomplete))
    return fail(in_file(std::move(plan).error(), read ? read_name(options.reads) : options.bundle));
  std::optional<std::vector<CheckOutcome>> checks;
  if (read) checks = verify_checks(*plan, read->image);
  const MapView view{&map, plan ? &*plan : nullptr, checks ? &*checks : nullptr, options.tool};
  const bool fails = checks && any_fails(*checks);
  return MadeReport{map_html(view), map_summary_json(view),
                    checks ? checks_summary(*checks) : "what the region map declares", fails ? 1 : 0};
}

}  // namespace calseal
