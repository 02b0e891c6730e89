// Options, compositions and accounts, for people and for programs.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/items.h"
#include "calseal/option/account.h"
#include "calseal/option/carry.h"
#include "calseal/option/compose.h"
#include "calseal/option/make.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// What an option file says.
std::string option_text(const OptionFile& option, const Page& page);
JsonValue option_json(const OptionFile& option);  // docs/json-output.md, "option"

// The same edits by item, with the values of axes as far as `base` (nothing: none) knows them; text and
// docs/json-output.md, "items". Errors: those of place_edits().
struct OptionItems {
  std::string text;
  JsonValue value;
};
Result<OptionItems> option_items(const RegionMap& map, const OptionFile& option, const Image* base,
                                 const Page& page, const ShownItems& shown);

// What became of each edit when it was carried.
std::string carried_text(const RegionMap& from, const RegionMap& to, const CarriedOption& carried,
                         const Page& page);
JsonValue carried_json(const RegionMap& from, const RegionMap& to, const CarriedOption& carried);

// The account of a revision, unaccounted bytes with a hex excerpt.
std::string account_text(const RegionMap& map, const Account& account, const Image& before,
                         const Image& after, const Page& page);
JsonValue account_json(const RegionMap& map, const Account& account, const Image& before, const Image& after);

// A list of problems as lines, each with its reason.
std::string problems_text(const std::vector<Error>& problems, const Page& page);

}  // namespace calseal
