// The one next step of a job.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/job/vehicle_job.h"

namespace calseal {

struct NextStep {
  std::string code;  // stable: "seal-way-back", "deliver-way-back", "await-way-back", "countersign", "edit",
                     // "known-stock", "go-back", "deliver", "await-receipt", "await-write", "confirm",
                     // "attach-log", "closed"
  std::string text;  // what to do and why, for people
  std::string command;  // to type; what the person fills in is in capitals
  std::uint64_t base = 1;
  std::uint64_t revision = 0;  // that it is about
  std::string controller;      // empty: every controller that is not closed
};

// Looks at the current base alone. No step leads to a revision 1 before the way back was handed over and
// acknowledged. Always gives one.
NextStep next_step(const Job& job);

// One step for each controller; where all of them wait for the same about the bundles of the newest
// hand-over, one for them together.
std::vector<NextStep> next_steps(const VehicleJob& job);

// Who must act, and since when: for lists of jobs.
enum class WaitsFor : std::uint8_t { kShop, kCustomer, kNobody };
std::string_view waits_for_name(WaitsFor who);  // "shop", "customer", "nobody"
WaitsFor waits_for(const NextStep& step);

}  // namespace calseal
