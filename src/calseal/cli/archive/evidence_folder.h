// The files of a folder of evidence, as they are to be written.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/evidence/vehicle_evidence.h"
#include "calseal/report/layout/page.h"

namespace calseal {

struct EvidenceFolder {
  std::vector<NewFile> files;  // the last one is SHA256SUMS
  JsonValue summary;           // evidence.json
  std::string text;            // for a terminal
  bool sound = false;          // nothing was found
};
EvidenceFolder folder_of(JobEvidence evidence, const std::string& tool, const Page& page);
EvidenceFolder folder_of(VehicleEvidence evidence, const std::string& tool, const Page& page);

// Every folder that the files need, an outer one before those in it.
std::vector<std::string> folders_of(const std::vector<NewFile>& files);

}  // namespace calseal
