#include "calseal/evidence/parcel_evidence.h"

#include <algorithm>

#include "calseal/job/take_parcel.h"

namespace calseal {
namespace {

bool is_noted(const std::optional<VehicleJob>& job, const Sha256& digest) {
  if (!job) return false;
  return std::ranges::any_of(job->controllers, [&](const Job& controller) {
    return std::ranges::any_of(controller.events, [&](const Event& event) {
      return event.kind == EventKind::kReceived && event.digest == digest;
    });
  });
}

ParcelEvidence judged(const NewFile& file, const std::map<Sha256, std::string>& kept,
                      const std::optional<VehicleJob>& job) {
  ParcelEvidence evidence;
  evidence.file = file.path;
  evidence.digest = compute_sha256(file.bytes);
  evidence.noted = is_noted(job, evidence.digest);
  Result<OpenedParcel> opened = open_parcel(file.bytes, file.path);
  if (!opened) {
    evidence.fault = opened.error();
    return evidence;
  }
  for (const ManifestEntry& entry : opened->parcel.entries) {
    if (const auto same = kept.find(entry.digest); same != kept.end())
      evidence.kept.emplace_back(entry.name, same->second);
  }
  evidence.parcel = std::move(opened->parcel);
  return evidence;
}

}  // namespace

std::vector<ParcelEvidence> parcels_in(const std::vector<NewFile>& files,
                                       const std::map<Sha256, std::string>& kept,
                                       const std::optional<VehicleJob>& job) {
  const std::string folder = "job/" + std::string(kParcelFolder) + "/";
  std::vector<ParcelEvidence> parcels;
  for (const NewFile& file : files) {
    if (file.path.starts_with(folder)) parcels.push_back(judged(file, kept, job));
  }
  return parcels;
}

}  // namespace calseal
