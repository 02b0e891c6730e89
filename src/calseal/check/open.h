// Opening a bundle: everything that can be judged without a read, in the normative order.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/range_set.h"
#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/check/verdict.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"
#include "calseal/trust/judge.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// A bundle whose seal holds; or, from open_unverified(), one that only reads well.
struct OpenedBundle {
  std::string name;
  Bytes file;
  Manifest manifest;
  Sha256 digest;  // of the manifest: the revision's identity
  Framing framing;
  RegionMap map;
  std::vector<Change> changes;
  std::optional<SetDescriptor> set;
  std::vector<Bytes> payload;  // content of manifest.controller().payload, in its order
  std::vector<std::string> signers;
};

// Whether missing roles end the opening (for everyone but the shop that is still collecting signatures).
enum class RolesRule : std::uint8_t { kRequired, kMayBeMissing };

// The steps "size" to "clock" of docs/bundle-format.md, noted in `steps`, then the contents. `now` decides
// over the expiry of trials only. With RolesRule::kMayBeMissing, `incomplete` says whether roles were
// missing.
Result<OpenedBundle> open_sealed(Bytes file, const std::string& name, const TrustFile& trust, UtcTime now,
                                 std::vector<Step>& steps, RolesRule roles = RolesRule::kRequired,
                                 bool* incomplete = nullptr);

// Reads a bundle without believing it, for `show`: same limits, no signature looked at.
Result<OpenedBundle> open_unverified(Bytes file, const std::string& name);

// The names of the normative steps, in order.
std::vector<Step> all_steps();

// The image that a full payload of revision 0 carries.
Image image_of_base(const OpenedBundle& opened);

// Lays the payload over an image: all of it, or what lies in `only` (one set per memory).
void lay_payload(const OpenedBundle& opened, Image& image, const std::vector<RangeSet>* only = nullptr);

}  // namespace calseal
