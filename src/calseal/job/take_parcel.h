// A parcel comes into a job: kept as it came, and noted of every controller, so that a later one is known to
// be from the same customer. docs/parcel.md, "What the shop does with it".
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/job/event.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/parcel/judge.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

inline constexpr std::string_view kParcelFolder = "parcels";

// "parcels/1.parcel"
std::string parcel_file(std::uint64_t number);

// What is noted of a parcel that is kept under this name within the job's folder: that it came, and the order
// where it has one.
std::vector<Event> parcel_events(const OpenedParcel& parcel, const std::string& file, std::uint64_t base,
                                 UtcTime now);

// Those that were noted, oldest first, also where the files were erased.
std::vector<EarlierParcel> parcels_of(const VehicleJob& job);

// Checks 10 to 12 of docs/parcel.md against this job: kParcelOther, kParcelOld; before them kJobDamaged when
// the job keeps parcels and notes of none.
Status judge_parcel(const VehicleJob& job, const OpenedParcel& parcel, bool customer_changed);

// Keeps it under the next number and notes it; the name within the job's folder. All is written or nothing.
// The caller has judged it and holds the lock.
Result<std::string> keep_parcel(const VehicleJob& job, const OpenedParcel& parcel, UtcTime now);

}  // namespace calseal
