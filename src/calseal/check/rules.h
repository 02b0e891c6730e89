// The step "rules": whether a revision's region map allows more than the one accepted before, and whether
// somebody who may has approved that. docs/order.md, "Rules".
#pragma once

#include <string>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/check/order.h"
#include "calseal/map/map_diff.h"

namespace calseal {

// What a region map allows that the one before did not, for people: "the shop's rules now allow 4,096 more
// bytes to change, boot among them; checksum tables is gone". `after`: the map that allows it.
std::string widening_text(const MapDiff& diff, const RegionMap& after);

// Against the map that the state knows, where there is a state: kRulesChanged, kRulesWidened; or the caution
// "rules-widened" where an approval lets more pass.
Status judge_rules(OpenedBundle& opened, const OrderEvidence& evidence);

}  // namespace calseal
