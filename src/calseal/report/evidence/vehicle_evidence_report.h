// A whole vehicle as evidence, told the same three ways as one controller (evidence_report.h).
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/evidence/vehicle_evidence.h"
#include "calseal/report/evidence/evidence_report.h"

namespace calseal {

// Of the vehicle alone: what is stated of its controllers is in their own evidence.
Statements statements_of(const VehicleEvidence& evidence);

std::string evidence_readme(const VehicleEvidence& evidence);   // README.txt
std::string evidence_by_hand(const VehicleEvidence& evidence);  // VERIFY.txt, as that of a controller
std::string evidence_html(const VehicleEvidence& evidence, const std::string& tool);  // evidence.html
JsonValue evidence_json(const VehicleEvidence& evidence);  // evidence.json: evidence-vehicle/1
std::string evidence_text(const VehicleEvidence& evidence, const Page& page);  // for a terminal

}  // namespace calseal
