#include "calseal/cli/report/report_images.h"

#include <memory>

#include "calseal/base/text.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/job/mend_map.h"
#include "calseal/job/send.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/report/revision/comparison_page.h"
#include "calseal/sign/edited_image.h"

namespace calseal {
namespace {

// What an edit is compared with.
struct BeforeEdit {
  RegionMap map;
  Image image;
  std::string name;  // for errors
  std::string job;   // empty: of no job
  std::vector<ComparedFile> files;
};

std::vector<ComparedFile> compared_files(const std::string& side, const std::vector<ReadFile>& files) {
  std::vector<ComparedFile> out;
  for (const ReadFile& file : files) out.push_back({side, file.name, compute_sha256(file.bytes)});
  return out;
}

// The controller that the folder is of, or the only one of the job.
Result<std::string> controller_of(const JobPlace& place, const VehicleJob& job) {
  if (!place.controller.empty()) return place.controller;
  if (job.controllers.size() == 1) return job.controllers.front().facts.controller;
  return fail(usage_error("SUBJECT", "a job with " + std::to_string(job.controllers.size()) + " controllers",
                          "the folder of one of them, for --after",
                          "name the controller's folder inside the job"));
}

Result<std::unique_ptr<BeforeEdit>> base_of_job(const std::string& folder) {
  CALSEAL_ASSIGN(const JobPlace place, find_job(folder));
  CALSEAL_ASSIGN(const VehicleJob vehicle, read_vehicle_job(place.folder, {}));
  CALSEAL_ASSIGN(const std::string controller, controller_of(place, vehicle));
  const Job* job = vehicle.find(controller);
  const JobRevision* way_back = job == nullptr ? nullptr : job->base().way_back();
  if (way_back == nullptr) {
    return fail({Reason::kJobOrder, printable(folder), "", "no revision 0", "the way back, sealed first",
                 "run calseal job send on the folder without an edited image"});
  }
  CALSEAL_ASSIGN(const OpenedBundle opened, reopen(*job, *way_back));
  auto before = std::make_unique<BeforeEdit>();
  CALSEAL_ASSIGN(before->map, map_in_force(*job, opened));
  before->image = base_image(opened, before->map);
  before->name = opened.name;
  before->job = printable(job->facts.job);
  before->files.push_back({"before", opened.name, compute_sha256(opened.file)});
  return before;
}

Result<std::unique_ptr<BeforeEdit>> base_of_bundle(const std::string& path) {
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
  CALSEAL_ASSIGN(const OpenedBundle opened, open_unverified(std::move(bytes), printable(path)));
  if (opened.manifest.revision != 0)
    return fail(usage_error("SUBJECT", "revision " + std::to_string(opened.manifest.revision),
                            "revision 0, whose image an edit starts from", "give r0.calseal of this base"));
  auto before = std::make_unique<BeforeEdit>();
  before->map = opened.map;
  before->image = base_image(opened, before->map);
  before->name = opened.name;
  before->job = printable(opened.manifest.job);
  before->files.push_back({"before", opened.name, compute_sha256(opened.file)});
  return before;
}

Result<std::unique_ptr<BeforeEdit>> stated_before(const ReportOptions& options) {
  if (options.regions.size() != 1 || options.before.empty())
    return fail(usage_error("--after", "not all that it is compared by",
                            "--regions and --before, or a job or revision 0 as SUBJECT",
                            "calseal report --help has examples"));
  auto before = std::make_unique<BeforeEdit>();
  CALSEAL_ASSIGN(before->map, load_region_map(options.regions.front()));
  CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(options.before));
  before->files = compared_files("before", files);
  before->name = read_name(options.before);
  CALSEAL_ASSIGN(Read read, load_read(before->map, std::move(files)));
  before->image = std::move(read.image);
  return before;
}

Result<std::unique_ptr<BeforeEdit>> before_edit(const ReportOptions& options) {
  if (options.subjects.empty()) return stated_before(options);
  if (options.subjects.size() != 1 || !options.before.empty() || !options.regions.empty())
    return fail(usage_error("--after", "more than one thing to compare with",
                            "a job or revision 0 as SUBJECT, or --regions and --before",
                            "leave out what is not meant"));
  return find_job(options.bundle) ? base_of_job(options.bundle) : base_of_bundle(options.bundle);
}

}  // namespace

Result<MadeReport> report_comparison(const ReportOptions& options) {
  CALSEAL_ASSIGN(const std::unique_ptr<BeforeEdit> before, before_edit(options));
  CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(options.after));
  ComparisonView view{before->job, before->files, nullptr, options.tool};
  for (ComparedFile& file : compared_files("after", files)) view.files.push_back(std::move(file));
  CALSEAL_ASSIGN(Image after, lay_edit(before->map, before->image, std::move(files)));
  auto plan = make_plan(before->map, before->image);
  if (!plan) return fail(in_file(std::move(plan).error(), before->name));
  DraftComparison draft;
  compare_draft(*plan, before->image, std::move(after), draft);
  view.draft = &draft;
  const bool confined = draft.comparison.is_confined();
  return MadeReport{comparison_html(view), comparison_summary_json(view),
                    confined ? "draft: not sealed, nothing proved; every change lies within the areas"
                             : "draft: not sealed, nothing proved; a seal refuses it",
                    confined ? 0 : 1};
}

std::vector<std::string> image_paths(const ReportOptions& options) {
  std::vector<std::string> paths = options.regions;
  for (const auto* files : {&options.before, &options.after, &options.now}) {
    for (const std::string& path : paths_of(*files)) paths.push_back(path);
  }
  return paths;
}

}  // namespace calseal
