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
#include "calseal/sign/seal.h"
#include "calseal/trust/succession.h"

namespace calseal {

// What signing needs; the keys are the caller's.
struct Signing {
  KeySource keys;
  const TrustFile* trust = nullptr;
  NamedBytes trust_file;  // the same, byte for byte
  UtcTime now;
  std::string tool;
  std::vector<NamedBytes> approvals;  // of region maps; new ones
};

struct NewJob {
  std::string folder;  // must not exist
  std::string job;
  std::string vehicle_reference;
  std::vector<ReadFile> read;
  Bytes region_map;  // the file
  std::string region_map_name;
  std::optional<Bytes> salt;  // kSaltSize fresh random bytes, or that of the vehicle's other job
  std::vector<OptionFile> options;
  std::string title;
  bool as_received = false;  // checks of the read need not hold; see SealRequest
};

struct OpenedBase {
  std::string bundle;  // within the folder; empty when nothing was sealed
  std::optional<SealedBundle> sealed;
};

// Makes the folder with read, region map, salt, options and, with `signing`, revision 0 of base 1. Whole or
// not at all. The reasons of parse_region_map(), load_read(), believe_map() (also without signing), seal(),
// check_as_customer(), and kOutputExists, kWriteFailed. As received, recognise_received() stands in for
// believe_map().
Result<OpenedBase> open_job(const NewJob& request, const std::optional<Signing>& signing);

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
struct BaseStatement {
  std::string job, reason, title, vehicle_reference;
  std::uint64_t number = 1;
  std::uint64_t sequence = 1;
  std::optional<Sha256> parent;
  bool as_received = false;
  std::vector<std::pair<std::string, std::string>> annotations;
};
// Revision 0, checked as the customer would. `followed`: what it comes after.
Result<SealedBundle> seal_base(const BaseParts& base, const BaseStatement& said,
                               const std::optional<Bytes>& salt, const Signing& signing,
                               FollowedRules followed = {});
// What customers know who hold the job's newest revision; its bundle is opened where its region map is
// another one than `next`.
Result<FollowedRules> followed_rules(const Job& job, const RegionMap& next, const Signing& signing);
// Files of a base folder without its bundle; paths begin with `prefix`.
std::vector<NewFile> base_files(const BaseParts& base, const std::vector<OptionFile>& options,
                                const std::string& prefix);
const std::vector<std::string>& base_subfolders();  // "read", "edited", "options"

// What is noted of a new bundle.
Event sealed_event(EventKind kind, const SealedBundle& sealed, const std::string& file);

// The salt of the folder; nothing when there is none. kSaltWrong.
Result<std::optional<Bytes>> load_job_salt(const std::string& folder);

}  // namespace calseal
