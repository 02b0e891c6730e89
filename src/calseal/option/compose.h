// Base and options in, image out. All options are edits of the same base, so their order has no meaning.
#pragma once

#include <string>
#include <vector>

#include "calseal/map/correct.h"
#include "calseal/option/resolve.h"

namespace calseal {

// What the tuner states about the vehicle, for requirements and exclusions.
struct StatedConditions {
  std::vector<std::string> fuel, hardware;
};

// A run of bytes to which two options give different values.
struct OptionConflict {
  std::string first, second;  // names, ascending
  Place place;
  std::string item;  // that holds the first byte, or empty
  Bytes first_bytes, second_bytes;
};

struct Composition {
  Image image;  // the base with every edit, corrected; the base itself when there are problems
  CorrectionReport correction;       // what correction set
  std::vector<std::string> options;  // names, ascending
  std::vector<Error> problems;  // why nothing was composed: every one, in one order whatever order was given

  std::vector<OptionConflict> conflicts;  // by first, second, place; also among the problems

  bool holds() const { return problems.empty(); }
};

// One option per name: the same file twice counts once; two files of one name are a problem. Problems, in
// this order: option-conflict of names; judge_option() for each by name; option-requires, option-excludes;
// two options that put different bytes at one place (option-conflict, naming both, item, place and bytes).
// Errors: those of correct(). `plan` is of `base`, which the region map must hold on (believe_map()).
Result<Composition> compose(const Plan& plan, const Image& base, const std::vector<OptionFile>& options,
                            const StatedConditions& stated);

// The same without correction: what a plain patch tool would leave.
Composition lay_options(const Plan& plan, const Image& base, const std::vector<OptionFile>& options,
                        const StatedConditions& stated);

}  // namespace calseal
