#include "calseal/cli/report/report_subject.h"

#include "calseal/archive/recognise.h"
#include "calseal/archive/record.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/reader.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/report/report_audit.h"
#include "calseal/cli/report/report_images.h"
#include "calseal/cli/report/report_maps.h"
#include "calseal/cli/report/report_plan.h"
#include "calseal/cli/report/report_read.h"
#include "calseal/job/layout.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/report/job/job_page.h"
#include "calseal/report/revision/revision_report.h"

namespace calseal {
namespace {

Result<OpenedBundle> open_beside(const std::string& path) {
  CALSEAL_ASSIGN(Bytes file, read_file(path, kBundleSizeLimit));
  return open_unverified(std::move(file), printable(path));
}

// Judged by the checker when there is a trust file; what it shows comes from the very bytes that were judged.
Result<MadeReport> report_revision(ReportOptions& options) {
  CALSEAL_ASSIGN(Bytes file, read_file(options.bundle, kBundleSizeLimit));
  std::optional<Verdict> verdict;
  if (!options.trust.empty()) {
    options.seal_only = options.reads.empty() && !options.revive;
    CALSEAL_ASSIGN(CheckRequest request, load_check_request(options));
    request.bundle = file;
    verdict = check_bundle(std::move(request));
    if (verdict->reason) verdict->reason = told_to(Reader::kShop, *verdict->reason);
  }
  const Result<OpenedBundle> opened = open_unverified(std::move(file), printable(options.bundle));
  if (!opened && !verdict) return fail(opened.error());
  std::vector<OpenedBundle> others;
  for (const std::string& path : options.beside) {
    CALSEAL_ASSIGN(others.emplace_back(), open_beside(path));
  }
  Result<Read> read = Read();
  if (opened && !options.reads.empty()) {
    read = load_read_arguments(opened->map, options.reads);
    // With a verdict, what is wrong with the read stands there.
    if (!read && !verdict) return fail(read.error());
  }
  RevisionView view{printable(options.bundle),
                    opened ? &*opened : nullptr,
                    verdict ? &*verdict : nullptr,
                    {},
                    read && !options.reads.empty() ? &read->image : nullptr,
                    options.tool};
  for (const OpenedBundle& other : others) view.beside.push_back(&other);
  MadeReport made{revision_html(view), revision_summary_json(view), "not verified: no trust file was given",
                  0};
  if (verdict) {
    made.words = std::string(outcome_name(verdict->outcome));
    if (verdict->reason) made.words += " [" + std::string(code(verdict->reason->reason)) + "]";
    made.status = verdict->reason ? exit_status(verdict->reason->reason) : 0;
  }
  return made;
}

std::string finding_words(std::size_t count) {
  return count == 0 ? "no findings" : count == 1 ? "1 finding" : std::to_string(count) + " findings";
}

Result<MadeReport> report_vehicle(const ReportOptions& options, const JobContext& context) {
  CALSEAL_ASSIGN(const VehicleJob vehicle, read_vehicle_job(options.bundle, context));
  const VehicleView view{&vehicle, context.trust != nullptr, options.tool};
  const std::size_t findings = count_findings(vehicle);
  return MadeReport{vehicle_html(view), vehicle_summary_json(view), finding_words(findings),
                    findings == 0 ? 0 : 1};
}

// The vehicle that a controller's folder lies in, where it is there and can be read.
std::optional<VehicleJob> vehicle_around(const std::string& folder, const JobContext& context) {
  const Result<JobPlace> place = find_job(folder);
  if (!place || place->controller.empty()) return std::nullopt;
  Result<VehicleJob> vehicle = read_vehicle_job(place->folder, context);
  if (!vehicle) return std::nullopt;
  return *std::move(vehicle);
}

Result<MadeReport> report_job(const ReportOptions& options) {
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  const JobContext& context = loaded->context;
  if (exists(options.bundle + "/" + std::string(kVehicleFile))) return report_vehicle(options, context);
  CALSEAL_ASSIGN(const Job job, read_job(options.bundle, context));
  const std::optional<VehicleJob> vehicle = vehicle_around(options.bundle, context);
  const JobView view{&job, vehicle ? &*vehicle : nullptr, context.trust != nullptr, options.tool};
  const std::size_t findings = job.findings.size();
  return MadeReport{job_html(view), job_summary_json(view), finding_words(findings), findings == 0 ? 0 : 1};
}

}  // namespace

ReportSubject subject_of(const ReportOptions& options) {
  if (!options.now.empty()) return ReportSubject::kPlan;
  if (!options.after.empty() || !options.before.empty()) return ReportSubject::kComparison;
  if (!options.regions.empty()) return ReportSubject::kRead;
  const std::string& path = options.bundle;
  if (exists(path + "/" + std::string(kJobFile)) || exists(path + "/" + std::string(kVehicleFile)))
    return ReportSubject::kJob;
  // What cannot be read is told by whoever reads all of it.
  Bytes beginning;
  Result<PartialFile> file = PartialFile::open(path, kRecordSizeLimit);
  if (file && file->read_up_to(kRecordLiteral.size(), beginning) &&
      text_of(beginning).starts_with(kRecordLiteral))
    return ReportSubject::kAudit;
  if (begins_as_region_map(beginning)) return ReportSubject::kRegionMap;
  return ReportSubject::kRevision;
}

Result<MadeReport> make_report(ReportSubject subject, ReportOptions& options) {
  switch (subject) {
    case ReportSubject::kJob:
      return report_job(options);
    case ReportSubject::kAudit:
      return report_audit(options);
    case ReportSubject::kComparison:
      return report_comparison(options);
    case ReportSubject::kRegionMap:
      return report_map(options);
    case ReportSubject::kPlan:
      return report_plan(options);
    case ReportSubject::kRead:
      return report_read(options);
    case ReportSubject::kRevision:
      break;
  }
  return report_revision(options);
}

}  // namespace calseal
