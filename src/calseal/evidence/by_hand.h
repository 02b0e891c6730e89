// The programs that go with every folder of evidence, so that nobody needs calseal to look at it.
#pragma once

#include <string_view>

namespace calseal {

std::string_view by_hand_bundle();  // by-hand/bundle.py
std::string_view by_hand_ledger();  // by-hand/ledger.py
std::string_view by_hand_set();     // by-hand/set.py, of a whole vehicle
std::string_view by_hand_parcel();  // by-hand/parcel.py, likewise

}  // namespace calseal
