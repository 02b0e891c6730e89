#include "calseal/check/verdict.h"

namespace calseal {

std::string trust_file_text(const Verdict& verdict) {
  return verdict.trust_version == 0 ? std::string()
                                    : "version " + std::to_string(verdict.trust_version) + " of " +
                                          verdict.trust_time + " (claimed)";
}

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

std::vector<Step> all_steps() {
  std::vector<Step> steps;
  for (const char* name : {"prefix", "signature", "manifest", "framing", "stored-digests", "trust",
                           "withdrawal", "sequence", "clock", "contents", "rules", "set", "match", "claims",
                           "freshness", "rebuild", "confinement", "checksums"}) {
    steps.push_back({name, StepState::kNotReached});
  }
  return steps;
}

void mark_step(std::vector<Step>& steps, std::string_view name, StepState state) {
  for (Step& step : steps) {
    if (step.name == name) step.state = state;
  }
}

}  // namespace calseal
