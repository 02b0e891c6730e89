// A new base: the dealer updated the controller, or it was replaced. The job goes on with a new way back, and
// takes its options along as far as they fit.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/job.h"
#include "calseal/job/open_base.h"
#include "calseal/option/carry.h"

namespace calseal {

struct CarryRequest {
  std::vector<ReadFile> read;  // taken now
  Bytes region_map;            // empty: the one of the base before, where it holds on the new read
  std::string region_map_name;
  std::string reason;  // line; signed
  // A known stock of the same software in place of what was read; the vehicle's own bytes are the read's.
  std::vector<ReadFile> stock;
};

// One option on its way to the new base.
struct CarriedFile {
  std::string name;
  std::string file;              // within the folder; empty when it did not fit
  CarriedOption carried;         // each edit, with what became of it
  std::optional<Error> problem;  // when it could not even be tried on the old base
  bool fits() const { return !file.empty(); }
};

struct NewBase {
  std::uint64_t number = 2;
  std::string bundle;  // within the folder: the new way back
  SealedBundle sealed;
  RegionMap from, to;  // region maps of both bases
  std::vector<CarriedFile> options;
};

// Makes base k+1 with its read, region map, revision 0 and the options that fit, whole or not at all, then
// notes it. kUsage without a reason, or when the read is of the current base; kJobOrder when that one was
// never sealed; kFamilyMismatch and the like when the old region map does not hold and no new one was given.
// With a stock the new base is that of base_from_stock(), with its reasons, in the read's form; its revision
// 0 is annotated with the pinned digests of both ("base-stock", "base-read"), and the read may be one whose
// checks fail. The caller holds the lock.
Result<NewBase> carry(const Job& job, const CarryRequest& request, const Signing& signing);

}  // namespace calseal
