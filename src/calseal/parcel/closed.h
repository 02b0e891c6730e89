// A parcel closed to the shop's parcel key, so that only the shop can read it. docs/parcel.md, "Closed
// parcels".
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/parcel/hpke.h"

namespace calseal {

inline constexpr std::string_view kClosedMark = "calseal-parcel/1\n";

bool begins_as_closed_parcel(ByteView beginning);

// kParcelClosed for a key to which nothing can be closed, kInternal when libcrypto fails.
Result<Bytes> close_parcel(ByteView parcel, const ParcelKey& to);
// The same with the ephemeral key given: for tests and vectors.
Result<Bytes> close_parcel_with(ByteView parcel, const ParcelKey& to, const ParcelSecret& ephemeral);

// The parcel; kParcelClosed unless this key opens the file to its last byte.
Result<Bytes> open_closed_parcel(ByteView file, const ParcelSecret& secret, const std::string& name);

}  // namespace calseal
