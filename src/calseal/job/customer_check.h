// The customer's own check, run on a new bundle before it is kept.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/verdict.h"
#include "calseal/map/read.h"
#include "calseal/sign/seal.h"
#include "calseal/trust/succession.h"

namespace calseal {

// What the shop has of the customer's side.
struct CustomerSide {
  NamedBytes trust;            // the shop's trust file, as the customer holds it
  std::vector<ReadFile> read;  // of this base, as received
  std::optional<Bytes> salt;
  std::string vehicle_reference;
  UtcTime now;
  std::vector<NamedBytes> partners;  // the other bundles of its set
};

// Whether the check refuses a read that is not declared fresh.
bool needs_fresh_read(const SealedBundle& sealed, const CustomerSide& customer);

// check_bundle() on the file itself, with this read declared fresh; then the rebuilt files must be
// `expected`, byte for byte (kResultMismatch). A refusal comes back as the error. A bundle that lacks
// required signatures is not checked here; seal() has opened it already.
Status check_as_customer(const SealedBundle& sealed, const RegionMap& map, const Image& expected,
                         const CustomerSide& customer);

}  // namespace calseal
