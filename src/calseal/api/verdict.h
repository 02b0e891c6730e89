// What the customer's checker concludes about a bundle.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/api/region_map.h"

namespace calseal::api {

enum class Outcome : std::uint8_t {
  kAccepted,   // everything holds; the rebuilt files may be written
  kRefused,    // `reason` says why
  kAuthentic,  // only the seal was looked at, and it holds
};

struct Verdict {
  Outcome outcome = Outcome::kRefused;
  std::optional<Error> reason;  // present exactly when refused
  std::string report;           // for people, as `calseal-check` prints it
  std::string json;             // for programs: check/1 of docs/json-output.md
  Sha256 identity;              // of the revision, once the seal holds
  std::vector<File> files;      // rebuilt, as many as the read had and in its order; none unless accepted
  // The checker's state to keep, where one was given: now whatever the outcome is, and once the files are
  // stored for good. Empty: keep none.
  std::string state_after_look, state_after_write;
};

}  // namespace calseal::api
