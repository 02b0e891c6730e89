// A base comes in: the first read of a job, or what a dealer's update or a replaced controller has left. Its
// read is kept whole, and revision 0, the way back, is sealed from it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/job.h"
#include "calseal/job/layout.h"
#include "calseal/map/read.h"
#include "calseal/option/option_file.h"
#include "calseal/parcel/parcel.h"
#include "calseal/sign/next_revision.h"

namespace calseal {

// What comes in of one controller.
struct NewController {
  std::vector<ReadFile> read;
  Bytes region_map;  // the file
  std::string region_map_name;
  std::vector<OptionFile> options;
  bool as_received = false;  // checks of the read need not hold; see SealRequest
};

struct NewJob {
  std::string folder;  // must not exist
  std::string job;
  std::string vehicle_reference;
  std::string title;
  std::optional<Bytes> salt;  // kSaltSize fresh random bytes, which all controllers share
  std::string shop;           // path of its shop file, where that does not lie above the folder; else empty
  std::vector<NewController> controllers;
  const OpenedParcel* parcel = nullptr;  // that these reads came in; kept in the folder
};

struct OpenedBase {
  std::string controller;
  std::string bundle;  // within the controller's folder; empty when nothing was sealed
  std::optional<SealedBundle> sealed;
};

// A controller's folder as it is going to be; paths are within it.
struct ControllerFolder {
  std::vector<std::string> subfolders;
  std::vector<NewFile> files;
  OpenedBase opened;
};

// Read, region map, salt, options and, with `signing`, revision 0 of base 1, of a controller that comes to
// the job which `job` describes; its own `controllers` are not looked at. The reasons of parse_region_map(),
// load_read(), believe_map() (also without signing), seal(), check_as_customer(). As received,
// recognise_received() stands in for believe_map().
Result<ControllerFolder> plan_controller(const NewJob& job, const NewController& controller,
                                         const std::optional<Signing>& signing);

// Seals revision 0 of the folder's current base where that was left out: the way back. kJobOrder when it is
// sealed already. The caller holds the lock.
Result<OpenedBase> seal_way_back(const Job& job, const Signing& signing, bool as_received = false);

// The next pieces are shared with carrying to a new base.
struct BaseParts {
  RegionMap map;
  Read read;
  std::vector<ReadFile> files;
};
Result<BaseParts> load_base(Bytes region_map, const std::string& region_map_name, std::vector<ReadFile> files,
                            bool as_received = false);
// Revision 0, checked as the customer would.
Result<SealedBundle> seal_base(const BaseParts& base, const BaseStatement& said, RevisionPlace place,
                               const std::optional<Bytes>& salt, const Signing& signing);
// Behind everything that was sealed for the job, as `revision` after `parent`, followed by who holds the
// newest revision; its bundle is opened where its region map is another one than `next`.
Result<RevisionPlace> next_place(const Job& job, std::uint64_t revision, const std::optional<Sha256>& parent,
                                 const RegionMap& next, const Signing& signing);
// Files of a base folder without its bundle; paths begin with `prefix`.
std::vector<NewFile> base_files(const BaseParts& base, const std::vector<OptionFile>& options,
                                const std::string& prefix);
const std::vector<std::string>& base_subfolders();  // "read", "edited", "options"

// What is noted of a new bundle.
Event sealed_event(EventKind kind, const SealedBundle& sealed, const std::string& file);

// The salt of the folder; nothing when there is none. kSaltWrong.
Result<std::optional<Bytes>> load_job_salt(const std::string& folder);

}  // namespace calseal
