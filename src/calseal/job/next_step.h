// The one next step of a job.
#pragma once

#include <string>

#include "calseal/job/job.h"

namespace calseal {

struct NextStep {
  std::string
      code;  // stable: "seal-way-back", "deliver-way-back", "await-way-back", "countersign", "edit",
             // "known-stock", "go-back", "deliver", "await-receipt", "await-write", "confirm", "attach-log"
  std::string text;     // what to do and why, for people
  std::string command;  // to type; what the person fills in is in capitals
  std::uint64_t base = 1;
  std::uint64_t revision = 0;  // that it is about
};

// Looks at the current base alone. No step leads to a revision 1 before the way back was handed over and
// acknowledged. Always gives one.
NextStep next_step(const Job& job);

}  // namespace calseal
