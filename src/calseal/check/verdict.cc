#include "calseal/check/verdict.h"

namespace calseal {

std::string trust_file_text(const Verdict& verdict) {
  return verdict.trust_version == 0 ? std::string()
                                    : "version " + std::to_string(verdict.trust_version) + " of " +
                                          verdict.trust_time + " (claimed)";
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
