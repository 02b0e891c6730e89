// What goes to the customer together: the bundles of one send, with a text that says what to do.
//
// A hand-over's folder appears whole or not at all, and before the bundles stand in their controllers'
// folders. So a set is never half there: what a run that was cut off has left is put in place by the next
// command that changes the job.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/event.h"
#include "calseal/job/layout.h"
#include "calseal/sign/seal.h"

namespace calseal {

inline constexpr std::string_view kMessageFile = "message.txt";

std::string handover_folder(std::uint64_t number);  // "handover-3"
// The number in such a name; 0 for another name.
std::uint64_t handover_number(std::string_view name);
// The highest number among the names in a job's folder; 0 when there is none. The reasons of names_in().
Result<std::uint64_t> newest_handover(const std::string& folder);

// One bundle that goes out, and where it belongs.
struct HandedBundle {
  std::string controller;  // name
  std::string folder;      // of the hand-over, "handover-4"; empty before it has one
  std::string name;        // in that folder: "engine-r3.calseal"
  std::string kept_as;     // within the controller's folder: "base-1/r3.calseal"
  Event sealed;            // as it is noted there
  Bytes bytes;
};
// "engine-r3.calseal" of a controller's "base-1/r3.calseal".
std::string handed_name(const std::string& controller, const std::string& bundle);

// Makes the folder with bundles and message; returns its name within the job's folder.
Result<std::string> make_handover(const std::string& folder, const std::vector<HandedBundle>& bundles,
                                  const std::string& message);
// The bundle that was sealed for a controller, as it is handed over; `kept_as` within the controller's
// folder.
HandedBundle handed_bundle(const std::string& kept_as, const SealedBundle& sealed);
// The sound bundles of a hand-over, as their manifests describe them; no seal is judged. The reasons of
// names_in() and read_file().
Result<std::vector<HandedBundle>> read_handover(const std::string& folder, std::uint64_t number);
// Writes bundles and notes into the controllers' folders.
Status place_bundles(const std::string& folder, const std::vector<HandedBundle>& bundles);

}  // namespace calseal
