#include "calseal/cli/report/report_read.h"

#include "calseal/base/text.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/study/read_page.h"

namespace calseal {

Result<MadeReport> report_read(const ReportOptions& options) {
  CALSEAL_ASSIGN(const RegionMapLibrary library, load_region_maps(options.regions));
  CALSEAL_ASSIGN(const std::vector<ReadFile> files, load_read_files(options.subjects));
  const MapChoice choice = choose_region_map(library, files);
  CALSEAL_ASSIGN(const std::size_t chosen, map_to_judge_by(library, choice));
  const RegionMap& map = library.maps[chosen].map;
  std::vector<KnownStock> stocks;
  if (!options.known.empty()) {
    CALSEAL_ASSIGN(stocks, load_known_stocks(map, options.known));
  }
  CALSEAL_ASSIGN(const ReadJudgement judgement, judge_read(map, files, stocks));
  const ReadView view{read_name(options.subjects), &map, &judgement, options.tool};
  return MadeReport{read_html(view), read_summary_json(view), std::string(read_heading(judgement)),
                    judgement.sound() ? 0 : 1};
}

}  // namespace calseal
