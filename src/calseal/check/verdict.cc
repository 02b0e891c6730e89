#include "calseal/check/verdict.h"

namespace calseal {

std::string_view outcome_name(Outcome outcome) {
  switch (outcome) {
    case Outcome::kAccepted:
      return "accepted";
    case Outcome::kRefused:
      return "refused";
    case Outcome::kAuthentic:
      return "authentic";
  }
  return "refused";
}

std::string_view step_state_name(StepState state) {
  switch (state) {
    case StepState::kPassed:
      return "passed";
    case StepState::kFailed:
      return "failed";
    case StepState::kNotReached:
      return "not-reached";
    case StepState::kNotAsked:
      return "not-asked";
  }
  return "not-reached";
}

std::string_view passage_name(Passage passage) {
  switch (passage) {
    case Passage::kUnknown:
      return "unknown";
    case Passage::kNewer:
      return "newer";
    case Passage::kNewest:
      return "newest";
    case Passage::kReturn:
      return "return";
    case Passage::kWayBack:
      return "way-back";
  }
  return "unknown";
}

std::string_view vehicle_proof_name(VehicleProof proof) {
  switch (proof) {
    case VehicleProof::kNone:
      return "none";
    case VehicleProof::kProved:
      return "proved";
    case VehicleProof::kByReference:
      return "by-reference";
    case VehicleProof::kAsserted:
      return "asserted";
  }
  return "none";
}

}  // namespace calseal
