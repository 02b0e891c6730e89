#include <algorithm>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"
#include "calseal/job/layout.h"
#include "calseal/job/vehicle_job.h"

namespace calseal {
namespace {

// Folders of jobs, of controllers and of vehicles, by what lies in them.
std::set<std::string> folders_of_jobs(const Judging& judging) {
  std::set<std::string> folders = judging.job_folders();
  for (const FileFacts& facts : judging.record().files) {
    const std::string_view name = name_of(facts.path);
    if (facts.kind == FileKind::kJobEvents || facts.kind == FileKind::kVehicleFacts || name == kSaltFile)
      folders.emplace(folder_of(facts.path));
    for (std::string_view at = folder_of(facts.path); !at.empty(); at = folder_of(at)) {
      if (base_of_folder(name_of(at)) || handover_number(name_of(at)) != 0) folders.emplace(folder_of(at));
    }
  }
  return folders;
}

// The kind that a file of a job folder has by its name.
std::optional<FileKind> kind_of_name(std::string_view name) {
  if (name == kJobFile) return FileKind::kJobFacts;
  if (name == kEventsFile) return FileKind::kJobEvents;
  if (name == kVehicleFile) return FileKind::kVehicleFacts;
  return std::nullopt;
}

WantedFile wanted_at(const std::string& path, FileKind kind) {
  return {WantedFile::By::kPlace, path, {}, kind, std::nullopt};
}

class VehicleJobs {
 public:
  explicit VehicleJobs(Judging& judging) : judging_(judging), folders_(folders_of_jobs(judging)) {
    for (const std::string& folder : judging.job_folders()) {
      if (!folder.empty()) vehicles_.emplace(folder_of(folder));
    }
  }

  void judge() {
    std::set<std::string> handing;  // folders of vehicles with a hand-over
    for (const FileFacts& facts : judging_.record().files) {
      judge_name(facts);
      const std::string_view folder = folder_of(facts.path);
      if (facts.kind != FileKind::kBundle || handover_number(name_of(folder)) == 0) continue;
      const std::string vehicle(folder_of(folder));
      if (!vehicles_.contains(vehicle)) continue;
      handing.insert(vehicle);
      if (facts.revision && !facts.fault) judge_handed(vehicle, facts);
    }
    for (const std::string& vehicle : handing) judge_vehicle(vehicle);
  }

 private:
  // Zeros or nothing under such a name are no file of another kind: what stood there is lost.
  void judge_name(const FileFacts& facts) {
    const auto kind = kind_of_name(name_of(facts.path));
    if (!kind || facts.kind == *kind || facts.fault) return;
    const std::string folder(folder_of(facts.path));
    if (!folders_.contains(folder) && !(*kind == FileKind::kVehicleFacts && vehicles_.contains(folder)))
      return;
    Finding& finding = judging_.find(FindingCode::kFileDamaged, facts.path, "",
                                     facts.kind == FileKind::kEmpty ? "nothing is in it" : "begins as none");
    finding.fault = Error{Reason::kJobDamaged,
                          "",
                          "byte 0",
                          std::string(file_kind_name(facts.kind)),
                          std::string(file_kind_name(*kind)),
                          "put it back from a copy"};
    finding.wanted = wanted_at(facts.path, *kind);
  }

  // A bundle that went out, against the one that its controller's folder has under this name.
  void judge_handed(const std::string& vehicle, const FileFacts& facts) {
    const RevisionClaim& claim = *facts.revision;
    const std::string controller = join_path(vehicle, claim.controller);
    std::string place = bundle_file(claim.base, claim.revision);
    if (name_of(facts.path) != handed_name(claim.controller, place))
      place = bundle_file(claim.base, claim.revision, claim.sequence);
    if (name_of(facts.path) != handed_name(claim.controller, place)) {
      altered(facts, "holds " + revision_subject(claim) + ", which its name does not say");
      return;
    }
    const std::string kept = join_path(controller, place);
    const FileFacts* const there = judging_.record().find(kept);
    if (there != nullptr && there->revision && there->revision->identity != claim.identity) {
      altered(facts, kept + " is another one");
    } else if (there == nullptr && !is_below(controller, claim.identity) && !judging_.any_at(kept)) {
      judging_
          .find(FindingCode::kJobFileMissing, kept, revision_subject(claim),
                "in the hand-over " + facts.path + ", and not here")
          .wanted =
          WantedFile{WantedFile::By::kIdentity, kept, claim.identity, FileKind::kBundle, std::nullopt};
    }
  }

  void altered(const FileFacts& facts, std::string text) {
    judging_.find(FindingCode::kHandoverAltered, facts.path, revision_subject(*facts.revision),
                  std::move(text));
  }

  bool is_below(const std::string& folder, const Sha256& identity) const {
    return std::ranges::any_of(judging_.with_identity(identity),
                               [&](const FileFacts* file) { return file->path.starts_with(folder + "/"); });
  }

  void judge_vehicle(const std::string& vehicle) {
    const std::string path = join_path(vehicle, kVehicleFile);
    const FileFacts* const facts = judging_.record().find(path);
    if (facts == nullptr) {
      judging_.find(FindingCode::kJobFileMissing, path, "", "this job folder has no such file").wanted =
          wanted_at(path, FileKind::kVehicleFacts);
    } else if (facts->job) {
      judge_vehicle_name(vehicle, *facts);
    }
  }

  void judge_vehicle_name(const std::string& vehicle, const FileFacts& facts) {
    const auto& files = judging_.record().files;
    const std::string within = vehicle.empty() ? "" : vehicle + "/";
    const FileFacts* other = nullptr;
    for (auto at = std::ranges::lower_bound(files, within, {}, &FileFacts::path);
         at != files.end() && at->path.starts_with(within); ++at) {
      if (!at->revision) continue;
      if (at->revision->job == facts.job->job) return;
      if (other == nullptr) other = &*at;
    }
    if (other == nullptr) return;
    judging_
        .find(FindingCode::kJobAltered, facts.path, "",
              "of job " + facts.job->job + "; its bundles are of job " + other->revision->job)
        .wanted = wanted_at(facts.path, FileKind::kVehicleFacts);
  }

  Judging& judging_;
  std::set<std::string> folders_;   // in which job.json, events.jsonl or vehicle.json may stand
  std::set<std::string> vehicles_;  // with a controller's folder in it
};

}  // namespace

void judge_vehicle_jobs(Judging& judging) { VehicleJobs(judging).judge(); }

}  // namespace calseal
