// Whether the fields of parcel.json fit together; the last step of check 4, and of use to whoever makes one.
#pragma once

#include <string>

#include "calseal/base/result.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

// kParcelInvalid with the JSON pointer of the first field that does not fit; the rules are those of
// docs/parcel.md, "What must fit together", in their order. The fields themselves must be within their types
// and limits.
Status check_parcel_consistency(const Parcel& parcel, const std::string& name);

}  // namespace calseal
