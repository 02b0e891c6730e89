// What a customer sent in parcels, as far as the job's folder still has them.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/layout.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

struct ParcelEvidence {
  std::string file;              // within the evidence: "job/parcels/1.parcel"
  Sha256 digest;                 // of the file
  std::optional<Parcel> parcel;  // it is whole under its signature
  std::optional<Error> fault;    // or why not
  bool noted = false;            // a note of the job says that this file came
  // Entries of it that a controller's evidence has too, byte for byte: entry, file within the evidence.
  std::vector<std::pair<std::string, std::string>> kept;
};

// Those among `files`, in their order. `kept`: what the controllers' evidence has, by its digest.
std::vector<ParcelEvidence> parcels_in(const std::vector<NewFile>& files,
                                       const std::map<Sha256, std::string>& kept,
                                       const std::optional<VehicleJob>& job);

}  // namespace calseal
