// Things that follow one another, as stops of a line from the oldest down.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/report/html/markup.h"

namespace calseal {

struct LineStop {
  // Told apart by shape: a square, a disc, a ring around a disc, a broken ring, a cross.
  enum class Kind : std::uint8_t { kOrigin, kOther, kThis, kMissing, kWithdrawn } kind = Kind::kOther;
  Html title;
  Html text;         // more about it
  std::string note;  // a word or two beside the title
};
Html line_of_stops(const std::vector<LineStop>& stops);

}  // namespace calseal
