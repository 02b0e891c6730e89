#include "calseal/evidence/vehicle_evidence.h"

#include <algorithm>
#include <filesystem>
#include <map>

#include "calseal/archive/survey.h"
#include "calseal/evidence/by_hand.h"
#include "calseal/job/controller_names.h"

namespace calseal {
namespace {

// Links are not followed, so what lies behind one is no part of the evidence.
Result<std::vector<std::string>> real_controllers(const std::string& folder) {
  CALSEAL_ASSIGN(std::vector<std::string> names, controller_names(folder));
  std::erase_if(names, [&](const std::string& name) {
    std::error_code error;
    return std::filesystem::is_symlink(folder + "/" + name, error);
  });
  return names;
}

// The part of an audit that is about one folder, with paths as from within it.
JudgedFolder part_of(const JudgedFolder& whole, const std::string& folder) {
  JudgedFolder part;
  for (const FileFacts& facts : whole.record.files) {
    if (is_below(facts.path, folder)) part.record.files.emplace_back(facts).path.erase(0, folder.size() + 1);
  }
  for (const Finding& finding : whole.findings) {
    if (is_below(finding.path, folder)) part.findings.emplace_back(finding).path.erase(0, folder.size() + 1);
  }
  return part;
}

bool has_fault(const ParcelEvidence& parcel) { return parcel.fault.has_value(); }

class VehicleGathering {
 public:
  explicit VehicleGathering(const EvidenceRequest& request) : request_(request) {}

  Result<VehicleEvidence> run() {
    CALSEAL_ASSIGN(survey_, survey_archive({request_.job}));
    CALSEAL_ASSIGN(const std::vector<std::string> names, real_controllers(request_.job));
    CALSEAL_ASSIGN(TakenFiles taken, take_files(survey_, request_.with_salt, names));
    evidence_.files = std::move(taken.files);
    evidence_.left_out = std::move(taken.left_out);
    evidence_.salt_left_out = taken.salt_left_out;
    CALSEAL_ASSIGN(judged_, judge_for_evidence(request_, survey_));
    for (const std::string& name : names) CALSEAL_CHECK(take_controller(name));
    for (const Finding& finding : judged_.findings) {
      if (std::ranges::none_of(names, [&](const auto& name) { return is_below(finding.path, name); }))
        evidence_.findings.push_back(finding);
    }
    read_the_job();
    const std::map<Sha256, std::string> kept = kept_files();
    match_handed(kept);
    evidence_.parcels = parcels_in(evidence_.files, kept, evidence_.job);
    add_text(evidence_.files, "by-hand/set.py", by_hand_set());
    if (!evidence_.parcels.empty()) add_text(evidence_.files, "by-hand/parcel.py", by_hand_parcel());
    std::ranges::sort(evidence_.files, {}, &NewFile::path);
    return std::move(evidence_);
  }

 private:
  Status take_controller(const std::string& name) {
    EvidenceRequest one = request_;
    one.job += "/" + name;
    ControllerEvidence made{"controllers/" + name, {}};
    CALSEAL_ASSIGN(made.evidence, gather_evidence(one, part_of(judged_, name)));
    evidence_.salt_left_out = evidence_.salt_left_out || made.evidence.salt_left_out;
    evidence_.controllers.push_back(std::move(made));
    return {};
  }

  void read_the_job() {
    const JobEvidence& first = evidence_.controllers.front().evidence;
    Result<VehicleJob> job = read_vehicle_job(
        request_.job, {&first.chain.trust, first.withdrawals ? &*first.withdrawals : nullptr});
    if (job) {
      evidence_.job = *std::move(job);
    } else {
      evidence_.job_fault = std::move(job).error();
    }
  }

  // What the controllers' evidence has, by its digest.
  std::map<Sha256, std::string> kept_files() const {
    std::map<Sha256, std::string> kept;
    for (const ControllerEvidence& controller : evidence_.controllers) {
      for (const NewFile& file : controller.evidence.files)
        kept.emplace(compute_sha256(file.bytes), controller.folder + "/" + file.path);
    }
    return kept;
  }

  void match_handed(const std::map<Sha256, std::string>& kept) {
    for (const NewFile& file : evidence_.files) {
      const std::string path = file.path.substr(file.path.find('/') + 1);
      const std::size_t slash = path.find('/');
      if (slash == std::string::npos || handover_number(std::string_view(path).substr(0, slash)) == 0)
        continue;
      const FileFacts* const facts = judged_.record.find(path);
      if (facts == nullptr || facts->kind != FileKind::kBundle) continue;
      HandedFile& handed = evidence_.handed.emplace_back();
      handed.file = file.path;
      handed.sound = facts->revision && !facts->fault;
      const auto same = kept.find(compute_sha256(file.bytes));
      if (same != kept.end()) {
        handed.kept_as = same->second;
      } else if (handed.sound) {
        handed.before = way_backs_of(*facts->revision);
      }
    }
  }

  std::vector<std::string> way_backs_of(const RevisionClaim& claim) const {
    std::vector<std::string> files;
    for (const ControllerEvidence& controller : evidence_.controllers) {
      for (const FileFacts& facts : controller.evidence.record.files) {
        if (facts.revision && !facts.fault && facts.revision->revision == 0 && claim.revision != 0 &&
            facts.revision->job == claim.job && facts.revision->controller == claim.controller &&
            facts.revision->base == claim.base)
          files.push_back(controller.folder + "/job/" + facts.path);
      }
    }
    return files;
  }

  const EvidenceRequest& request_;
  Survey survey_;
  JudgedFolder judged_;
  VehicleEvidence evidence_;
};

}  // namespace

bool VehicleEvidence::sound() const {
  return findings.empty() && std::ranges::none_of(parcels, &has_fault) && !job_fault &&
         (!job || job->findings.empty()) &&
         std::ranges::all_of(controllers,
                             [](const ControllerEvidence& one) { return is_sound(one.evidence); });
}

std::string VehicleEvidence::file_of(const SetPlace& place) const {
  // A bundle that was handed over and not put in its place: "../handover-2/engine-r1.calseal".
  const std::string placed =
      place.revision->placed ? "controllers/" + place.owner->facts.controller + "/job/" + place.revision->file
                             : "job/" + place.revision->file.substr(std::string_view("../").size());
  const auto has = [&](const std::vector<NewFile>& all, const std::string& within) {
    return std::ranges::any_of(all, [&](const NewFile& file) { return within + file.path == placed; });
  };
  for (const ControllerEvidence& one : controllers) {
    if (has(one.evidence.files, one.folder + "/")) return placed;
  }
  return has(files, "") ? placed : std::string();
}

Result<bool> is_of_vehicle(const std::string& folder) {
  if (exists(folder + "/" + std::string(kJobFile))) return false;
  CALSEAL_ASSIGN(const std::vector<std::string> names, real_controllers(folder));
  return !names.empty();
}

Result<VehicleEvidence> gather_vehicle_evidence(const EvidenceRequest& request) {
  return VehicleGathering(request).run();
}

}  // namespace calseal
