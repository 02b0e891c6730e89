// A job as its folder holds it: every controller of one vehicle, each in a folder of its own.
//
//   vehicle.json        job, vehicle reference, where its shop is; written once
//   engine/             one folder for each controller; see layout.h
//   transmission/
//   handover-1/         what went to the customer together; see handover.h
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/folder_lock.h"
#include "calseal/base/result.h"
#include "calseal/job/handover.h"
#include "calseal/job/job.h"

namespace calseal {

inline constexpr std::string_view kVehicleFile = "vehicle.json";
inline constexpr std::size_t kControllerLimit = 16;  // of one vehicle, as many as a set has members

// vehicle.json
struct VehicleFacts {
  std::string job;                // name
  std::string vehicle_reference;  // line, or empty
  std::string opened;             // time
  std::string shop;  // absolute path of the shop file, where it does not lie above the job; else empty
  friend bool operator==(const VehicleFacts&, const VehicleFacts&) = default;
};
void vehicle_fields(Fields& field, VehicleFacts& facts);
bool is_shop_path(const std::string& path);  // one that can be kept there
std::string write_vehicle_facts(const VehicleFacts& facts);
// Of a job's folder. kFileMissing and so on, kJobDamaged.
Result<VehicleFacts> read_vehicle_facts(const std::string& folder);

struct VehicleJob {
  std::string folder;
  VehicleFacts facts;
  std::vector<Job> controllers;        // ascending by name, at least one
  std::vector<JobFinding> findings;    // about the job's folder itself, and about sets
  std::uint64_t newest_handover = 0;   // 0: nothing was handed over yet
  std::vector<HandedBundle> handed;    // what is in it; without bytes
  std::vector<HandedBundle> unplaced;  // of these, what is in no controller's folder; with bytes

  const Job* find(std::string_view controller) const;
  bool nothing_sent() const;  // to the customer, so he has neither salt nor trust file
  bool is_sound() const;      // nothing was found here or in a controller's folder
};

// Where a person points to: the job's folder, or the folder of one of its controllers.
struct JobPlace {
  std::string folder;      // of the job
  std::string controller;  // name; empty: the job as a whole
};
// kFileMissing when neither is there.
Result<JobPlace> find_job(const std::string& folder);

// Every controller by read_job(). kJobDamaged when vehicle.json says nothing, or no controller is there.
Result<VehicleJob> read_vehicle_job(const std::string& folder, const JobContext& context);

// Held while a command changes a job: its folder, and those of its controllers. kJobBusy.
class JobLock {
 public:
  static Result<JobLock> take(const std::string& folder);

 private:
  std::vector<FolderLock> locks_;
};

// Reads the job under its lock, and puts in place what a run that was cut off had handed over.
Result<VehicleJob> take_up(const std::string& folder, const JobContext& context);

// The one controller that is meant; kUsage when there are several and none is named.
Result<const Job*> one_controller(const VehicleJob& job, const std::string& controller);

// A member of a set, where it is.
struct SetPlace {
  const Job* owner = nullptr;
  const JobBase* base = nullptr;
  const JobRevision* revision = nullptr;
  // After a carry the controller holds other software: nobody can write this member, nor accept the set.
  bool outdated() const { return base != &owner->base(); }
};
// Every member that is here of the set of a revision, itself too; nothing where it is in none.
std::vector<SetPlace> set_members(const VehicleJob& job, const JobRevision& of);

// A revision of a controller's current base.
struct WantedRevision {
  std::string controller;
  std::uint64_t revision = 0;
};
// The text that goes along with bundles which are kept already.
using KeptMessage =
    std::function<std::string(const VehicleJob& job, const std::vector<HandedBundle>& bundles)>;
// Makes a hand-over of revisions that are sealed; its name within the job's folder. kUsage for one that is
// not there, kWithdrawn for one that was withdrawn, kJobOrder for a set with a member of an earlier base. The
// caller holds the lock.
Result<std::string> hand_over_kept(const VehicleJob& job, const std::vector<WantedRevision>& revisions,
                                   const KeptMessage& message);

}  // namespace calseal
