// Values of calibration items as people read them: thousands grouped, and no more decimals than the
// conversion has a use for. docs/json-output.md and the region map's page keep the exact text.
#pragma once

#include <cstdint>
#include <string>

#include "calseal/image/image.h"
#include "calseal/map/items.h"

namespace calseal {

// Decimals that a person needs of an element's value: all of them where there are at most four, else as many
// as show a tenth of the step to the next stored number. Its bytes must be known.
int places_needed(const Item& item, const Image& image, std::uint64_t element);

// "2,800", "-0.25", "undefined"
std::string number_words(const Quantity& value, int places);
// "+12", "-0.25", "0"; of a difference
std::string difference_words(const Quantity& difference, int places);

// "name" of "name[3]", which is an item of a repetition; else the name as it is.
std::string declared_name(const Item& item);

}  // namespace calseal
