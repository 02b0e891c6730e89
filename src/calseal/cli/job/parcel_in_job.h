// A parcel that comes into a job by a command: judged, kept, noted, its logs attached.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/job/attach_log.h"
#include "calseal/job/new_job.h"
#include "calseal/job/take_parcel.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// --customer-changed
void add_customer_changed(CommandLine& command, bool& changed);

// What a job that is made of it takes from a parcel: the vehicle reference where nobody states another, and
// the file. Check 10.
Status put_parcel_into(const std::optional<OpenedParcel>& parcel, NewJob& request);

// What became of one log of a parcel.
struct TakenLog {
  std::string entry, controller;
  std::optional<AttachedLog> attached;
  std::optional<Error> not_attached;  // it is in the parcel all the same
};
struct TakenParcel {
  std::string file;  // within the job's folder; empty: no parcel
  std::string fingerprint;
  std::uint64_t number = 0;
  std::vector<TakenLog> logs;
};

// Keeps a parcel that was judged, notes it, and attaches its logs. The caller holds the lock.
Result<TakenParcel> take_parcel(const VehicleJob& job, const OpenedParcel& parcel, UtcTime now);
// The logs of a parcel that was kept as `file` when the job was made.
Result<TakenParcel> attach_parcel_logs(const std::string& folder, const OpenedParcel& parcel,
                                       const std::string& file);

// Empty, and no member, where there is no parcel.
std::string taken_parcel_text(const TakenParcel& taken, const Page& page);
void add_taken_parcel(JsonValue& value, const TakenParcel& taken);

}  // namespace calseal
