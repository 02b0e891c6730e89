// An option laid on the region map and base of one vehicle: exact places, and whether it fits there.
#pragma once

#include <string>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/plan.h"
#include "calseal/option/option_file.h"

namespace calseal {

// One edit at its exact place; the bytes live in the option.
struct PlacedEdit {
  Place place;
  const OptionEdit* edit = nullptr;
};

// Edits in order of memory and address, disjoint. option-foreign: another controller, another region map, a
// memory or item that the map does not have, an edit outside its memory or item; option-invalid: an item edit
// and a plain one share bytes.
Result<std::vector<PlacedEdit>> place_edits(const RegionMap& map, const OptionFile& option);

// What an option changes, as two images: `base`, or one of which nothing is known, with the bytes that each
// edit expects, and with those that it puts.
struct EditSides {
  Image before, after;
  bool fits_base = true;  // the base, where it knows them, has the bytes that the edits expect
};
EditSides sides_of(const RegionMap& map, const std::vector<PlacedEdit>& edits, const Image* base);

// Why the option cannot be used on this base; empty when it can. In this order: place_edits(), software
// number (option-foreign), then for every edit its bytes: not editable and no whole permitted patch
// (option-place), unknown or other bytes than `before` (option-before). `plan` is of `base`.
std::vector<Error> judge_option(const Plan& plan, const Image& base, const OptionFile& option);

// The software number that the image says, or empty when the region map has no such field or it is unknown.
std::string software_number_of(const RegionMap& map, const Image& image);

}  // namespace calseal
