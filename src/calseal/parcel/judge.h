// What a shop asks of a parcel that is sound: checks 8 to 12 of docs/parcel.md.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

// Check 8. kParcelOther unless the parcel names none of the shop's roots or no root at all. `roots`: that of
// the trust file, and those that it succeeded.
Status check_parcel_root(const Parcel& parcel, const std::vector<KeyId>& roots, const std::string& name);

// Check 9. Whether it was made with another sheet than this one, which is said and not refused.
bool is_of_another_sheet(const Parcel& parcel, const Sha256& sheet);

// Check 10. kParcelOther where job or vehicle reference are said, and are not the job's.
Status check_parcel_job(const Parcel& parcel, const std::string& job, const std::string& vehicle_reference,
                        const std::string& name);

// A parcel that the job has.
struct EarlierParcel {
  KeyId key;
  std::uint64_t number = 1;
};
// Checks 11 and 12, against those that the job has, oldest first: by the key of the newest of them, unless
// the customer changed it (kParcelOther), and with a number above all of the same key (kParcelOld).
Status check_parcel_sender(const Parcel& parcel, const std::vector<EarlierParcel>& earlier,
                           bool customer_changed, const std::string& name);

}  // namespace calseal
