#include "calseal/check/match.h"

#include <algorithm>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/check/claims.h"
#include "calseal/check/near_miss.h"
#include "calseal/digest/digests_ahead.h"

namespace calseal {

Status match_known(const OpenedBundle& opened, const Image& read, bool binding) {
  for (const ManifestSpan& span : opened.manifest.controller().spans) {
    const bool matched = is_pinned(span.kind) || (binding && span.kind == SpanKind::kBinding);
    const ManifestController& controller = opened.manifest.controller();
    const auto memory_claim =
        std::ranges::find(controller.memories, span.place.memory, &ManifestMemory::name);
    const bool known_in_base = std::ranges::any_of(
        memory_claim->known, [&](const Range& known) { return known.contains(span.place.range); });
    if (!matched || !known_in_base) continue;
    const Memory* memory = read.find(span.place.memory);
    RangeSet missing(span.place.range);
    missing.remove(memory->known);
    if (missing.empty()) continue;
    return fail(explain_incomplete(opened, read, {span.place.memory, missing.ranges().front()}));
  }
  return {};
}

Status match_base(const OpenedBundle& opened, const Image& read, const Image& image,
                  const KnownDigests& known) {
  CALSEAL_CHECK(match_known(opened, read, true));
  std::vector<ByteView> locked;
  std::vector<Sha256> sealed;
  for (const ManifestSpan& span : opened.manifest.controller().spans) {
    if (span.kind != SpanKind::kLocked || !span.after) continue;
    if (known) {
      if (const auto digest = known(span.place)) {
        if (*digest != *span.after) return fail(explain_foreign(opened, read, image));
        continue;
      }
    }
    locked.push_back(image.find(span.place.memory)->view(span.place.range));
    sealed.push_back(*span.after);
  }
  if (compute_sha256_of_each(std::move(locked)) != sealed) return fail(explain_foreign(opened, read, image));
  CALSEAL_CHECK(patch_states(opened.map, read));
  return {};
}

Status check_salt(const Manifest& manifest, const std::optional<Bytes>& salt) {
  if (!salt || !manifest.salt_digest) return {};
  const Sha256 found = compute_sha256(*salt);
  if (found == *manifest.salt_digest) return {};
  return fail({Reason::kSaltWrong, "", "salt", "a salt with SHA-256 " + digest_text(found),
               digest_text(*manifest.salt_digest), "use the salt file that the shop gave you for this job"});
}

Result<VehicleProof> match_vehicle(const OpenedBundle& opened, const Image& read,
                                   const MatchEvidence& evidence) {
  const Manifest& manifest = opened.manifest;
  if (!evidence.vehicle_reference.empty() && evidence.vehicle_reference != manifest.vehicle_reference) {
    return fail({Reason::kVehicleReference, "", "vehicle_reference",
                 "\"" + printable(evidence.vehicle_reference) + "\"",
                 manifest.vehicle_reference.empty() ? "none, as in the manifest"
                                                    : "\"" + printable(manifest.vehicle_reference) + "\"",
                 "check that this bundle is for the vehicle in front of you"});
  }
  CALSEAL_CHECK(check_salt(manifest, evidence.salt));
  const bool salt_counts = evidence.salt && manifest.salt_digest;
  bool proved = false;
  for (const ManifestBinding& binding : manifest.controller().binding) {
    if (!binding.digest || !salt_counts) continue;
    const auto field = std::ranges::find_if(
        opened.map.identity, [&](const IdentityField& f) { return f.binds && f.name == binding.name; });
    if (field == opened.map.identity.end() ||
        NamedRange{opened.map.memories[field->place.memory].name, field->place.range} != binding.place) {
      return fail({Reason::kClaimMismatch, "", "binding " + binding.name,
                   "a field that the region map does not bind", "the region map's binding fields",
                   "do not use this bundle; tell the shop"});
    }
    if (salted_digest(*evidence.salt, opened.map, *field, read) != *binding.digest) {
      return fail(explain_other_vehicle(opened, read, *evidence.salt));
    }
    proved = true;
  }
  if (proved) return VehicleProof::kProved;
  if (!evidence.vehicle_reference.empty()) return VehicleProof::kByReference;
  std::string why = "no binding field in the region map";
  if (!manifest.controller().binding.empty()) {
    const bool sealed = std::ranges::any_of(manifest.controller().binding,
                                            [](const auto& b) { return b.digest.has_value(); });
    why = sealed ? "binding fields, but no salt to compare them"
                 : "binding fields that were blank or sealed without salt";
  }
  return fail({Reason::kVehicleNotProvable, "", "binding", why,
               "a binding field that matches, or the vehicle reference",
               "give the salt file of this job; or, if the shop confirms, the vehicle reference"});
}

}  // namespace calseal
