// The account of a revision: for every changed byte, which option put it there, or that it is derived, or
// that nothing explains it.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "calseal/bundle/changes.h"
#include "calseal/bundle/manifest.h"
#include "calseal/change/compare.h"
#include "calseal/map/items.h"
#include "calseal/option/option_file.h"

namespace calseal {

enum class Origin : std::uint8_t {
  kOption,       // an option claims the byte and this value
  kTakenBack,    // an option that was in the image before claims it; the value is the one before that option
  kDerived,      // checksum slot or copy
  kVehicle,      // volatile or binding: not the revision's
  kUnaccounted,  // nothing explains it
};
std::string_view origin_name(Origin origin);  // "option", "taken-back", "derived", "vehicle", "unaccounted"

// A run of differing bytes of one origin, region, item and set of options.
struct AccountEntry {
  Place place;
  Origin origin = Origin::kUnaccounted;
  std::vector<std::string> options;  // all that claim it, ascending
  std::string region, item;          // names, or empty
};

struct Account {
  std::vector<AccountEntry> entries;  // memories in map order, ascending, disjoint; every differing byte once
  // Bytes that each option claims and that differ, in the order of names; then its bytes that do not hold in
  // the image after (0: applied whole).
  struct Share {
    std::string option;
    std::uint64_t bytes = 0, missing = 0;
    bool taken_back = false;  // none of it is in the image after, some of it was in the one before
  };
  std::vector<Share> shares;

  std::uint64_t bytes(Origin origin) const;
  bool is_complete() const { return bytes(Origin::kUnaccounted) == 0; }
};

// Accounts for `after` against `before` (the base, or a parent), of which `plan` is. Options that do not fit
// the region map are an error (place_edits()).
Result<Account> make_account(const Plan& plan, const Image& before, const Image& after,
                             const std::vector<OptionFile>& options);

// What a manifest says of it.
std::vector<ManifestOption> describe_options(const std::vector<OptionFile>& options);  // by name
// Fills `option` of changes.json's ranges: the first option, by name, that claims all bytes of a range.
void name_options(std::vector<Change>& changes, const RegionMap& map, const Account& account);

}  // namespace calseal
