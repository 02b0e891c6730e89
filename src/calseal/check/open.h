// Opening a bundle: everything that can be judged without a read, in the normative order.
#pragma once

#include <functional>
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
#include "calseal/check/order.h"
#include "calseal/check/verdict.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"
#include "calseal/trust/inclusion.h"
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

  // From open_sealed() only.
  Passage passage = Passage::kUnknown;
  bool incomplete = false;  // roles are missing, which RolesRule::kMayBeMissing let pass
  std::vector<Caution> cautions;
};

// Whether missing roles end the opening (for everyone but the shop that is still collecting signatures).
enum class RolesRule : std::uint8_t { kRequired, kMayBeMissing };

// What a sealed bundle is judged by. Plain pointers: the caller keeps everything alive.
struct OpenContext {
  const TrustFile* trust = nullptr;
  UtcTime now;  // for trials
  RolesRule roles = RolesRule::kRequired;
  const OrderEvidence* order = nullptr;       // nothing: neither order in time nor the clock is judged
  const InclusionProof* inclusion = nullptr;  // for a seal by a key that was compromised later
  // Told a signed manifest as soon as it reads well; whether it may be believed is not known yet.
  std::function<void(const Manifest&)> on_manifest = nullptr;
};

// The steps "prefix" to "contents" of docs/bundle-format.md, noted in `steps`.
Result<OpenedBundle> open_sealed(Bytes file, const std::string& name, const OpenContext& context,
                                 std::vector<Step>& steps);

// Reads a bundle without believing it, for `show`: same limits, no signature looked at.
Result<OpenedBundle> open_unverified(Bytes file, const std::string& name);

// The names of the normative steps, in order.
std::vector<Step> all_steps();
void mark_step(std::vector<Step>& steps, std::string_view name, StepState state);

// Notes how a step went, and hands its result on.
template <typename T>
Result<T> noted(std::vector<Step>& steps, std::string_view name, Result<T> result) {
  mark_step(steps, name, result ? StepState::kPassed : StepState::kFailed);
  return result;
}

// The image that a full payload of revision 0 carries.
Image image_of_base(const OpenedBundle& opened);

// Lays the payload over an image: all of it, or what lies in `only` (one set per memory).
void lay_payload(const OpenedBundle& opened, Image& image, const std::vector<RangeSet>* only = nullptr);

// What the payload carries of a range; empty where it has not the whole range in one piece.
ByteView carried_bytes(const OpenedBundle& opened, const NamedRange& place);

}  // namespace calseal
