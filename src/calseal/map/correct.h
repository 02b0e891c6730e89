// Correction: every derived byte set to its right value, in dependency order.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/plan.h"

namespace calseal {

struct Correction {
  std::string name;  // of the checksum or copy
  Place place;
  Bytes before, after;
};

struct CorrectionReport {
  std::vector<Correction> corrections;    // places that changed, in the order corrected
  std::vector<std::string> not_provable;  // left alone: bytes they need are unknown
};

enum class CorrectionScope : std::uint8_t {
  kAll,       // the tuner's side
  kFloating,  // the customer's side: everything else came sealed
};

// Corrects `image` in place. What holds already is left alone, so a second run changes nothing. Touches
// derived bytes only. kMapUnsolvable when a balance cannot reach its rule's value on this image,
// kChecksumFails when a rule without balance does not hold; what comes before it in the order is corrected
// then, it and what follows is as it was.
Result<CorrectionReport> correct(const Plan& plan, Image& image,
                                 CorrectionScope scope = CorrectionScope::kAll);

}  // namespace calseal
