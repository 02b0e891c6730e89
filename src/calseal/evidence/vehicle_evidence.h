// A whole job as evidence: that of each controller, and what holds them together: sets and hand-overs.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/evidence/evidence.h"
#include "calseal/evidence/parcel_evidence.h"
#include "calseal/job/job_set.h"

namespace calseal {

struct ControllerEvidence {
  std::string folder;  // within the evidence: "controllers/engine"
  JobEvidence evidence;
};

// A bundle in a hand-over.
struct HandedFile {
  std::string file;                 // within the evidence: "job/handover-2/engine-r1.calseal"
  std::string kept_as;              // the same bytes in a controller's evidence; empty: nowhere
  bool sound = false;               // it holds, as far as the audit goes
  std::vector<std::string> before;  // where it stands alone: the revisions 0 that it is rebuilt on
};

struct VehicleEvidence {
  std::optional<VehicleJob> job;                // nothing: vehicle.json says nothing
  std::optional<Error> job_fault;               // why
  std::vector<ControllerEvidence> controllers;  // ascending by name
  std::vector<HandedFile> handed;               // ascending by file
  std::vector<ParcelEvidence> parcels;          // ascending by file
  std::vector<Finding> findings;                // that are in no controller's evidence
  bool salt_left_out = false;                   // here, or of a controller
  std::vector<std::string> left_out;            // outside of the controllers' folders
  std::vector<NewFile> files;                   // job/, by-hand/

  bool sound() const;  // no finding and no fault, here and in every controller
  // Where the evidence has a bundle of the job; empty: it was left out.
  std::string file_of(const SetPlace& place) const;
};

// Whether evidence about this folder is that of a vehicle: there are controllers' folders in it, and it is
// not one itself.
Result<bool> is_of_vehicle(const std::string& folder);

// As gather_evidence(), where `request.job` is the job's folder; all controllers are judged together.
Result<VehicleEvidence> gather_vehicle_evidence(const EvidenceRequest& request);

}  // namespace calseal
