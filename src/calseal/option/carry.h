// An option carried to another software number of its family: each edit is looked for by the bytes around it.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/map/plan.h"
#include "calseal/option/option_file.h"

namespace calseal {

enum class CarryOutcome : std::uint8_t {
  kCarried,    // one place fits well, and no other nearly as well
  kNamed,      // an item of the same name and size, with the same bytes before
  kWeak,       // the best place has too little in common
  kAmbiguous,  // several places fit, here or already in the old base
  kBefore,     // the place was found, but other bytes stand there
  kPlace,      // the place was found, but a revision may not change it, or two edits would meet
};
std::string_view carry_outcome_name(CarryOutcome outcome);  // "carried", "named", "weak", ...

struct CarriedEdit {
  std::size_t edit = 0;  // index into the option's edits
  CarryOutcome outcome = CarryOutcome::kWeak;
  Place from, to;            // `to` where one was found; a place of the new region map
  std::uint64_t score = 0;   // thousandths of the bytes around it that agree
  std::uint64_t second = 0;  // of the next best place
};

struct CarriedOption {
  Option option;  // for the new software number; only when every edit was carried
  std::vector<CarriedEdit> edits;
  bool is_whole() const;
};

// Places of edits in `option` are those of the old plan's region map. Errors: those of judge_option() on the
// old base. Never guesses: one edit that is not carried leaves no option.
Result<CarriedOption> carry_option(const Plan& old_plan, const Image& old_base, const OptionFile& option,
                                   const Plan& new_plan, const Image& new_base);

}  // namespace calseal
