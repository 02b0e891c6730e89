// Reading the identity fields and the recognition rule of a region map out of an image.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

struct IdentityValue {
  const IdentityField* field = nullptr;  // lives in the region map
  bool known = false;                    // all its bytes are known
  bool blank = false;                    // all 00 or all ff: says nothing
  bool well_formed = false;              // encoding and pattern hold
  std::string text;                      // for people; empty when unknown; escaped
  std::string caution;                   // VIN check digit that does not fit, and the like
};

std::vector<IdentityValue> read_identity(const RegionMap& map, const Image& image);

// kFamilyMismatch when the recognition rule does not match or none of it is known: of a partial image that
// part of the rule decides which is known. kBankNotActive when a copy's marker says otherwise, or is unknown.
Status match_rule_and_bank(const RegionMap& map, const Image& image);

// The same, but kFormOpaque in place of kFamilyMismatch when the memory looks random throughout; then
// kIdentityMismatch when a known, non-blank field is malformed.
Status recognise_family(const RegionMap& map, const Image& image);

// True when `text` fits the pattern; the language is on the region map's page. O(text * pattern).
bool matches_pattern(std::string_view text, std::string_view pattern);

// Check character of a 17-character VIN after 49 CFR 565.15(c): '0' to '9' or 'X'; '\0' for other lengths or
// characters that a VIN cannot have (I, O, Q).
char vin_check_character(std::string_view vin);

}  // namespace calseal
