#include "calseal/check/match.h"

#include <algorithm>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/check/claims.h"
#include "calseal/map/identity.h"

namespace calseal {

std::optional<Bytes> with_patches(const OpenedBundle& opened, const Image& image, const NamedRange& place,
                                  PatchSide side) {
  std::optional<Bytes> laid;
  const std::vector<PermittedPatch>& patches = opened.map.patches;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    const PermittedPatch& patch = patches[i];
    const Range common{std::max(patch.place.range.begin, place.range.begin),
                       std::min(patch.place.range.end, place.range.end)};
    if (opened.map.memories[patch.place.memory].name != place.memory || common.begin >= common.end) continue;
    if (!laid) {
      const ByteView own = image.memories[patch.place.memory].view(place.range);
      laid.emplace(own.begin(), own.end());
    }
    const ManifestPatch& said = opened.manifest.controller().patches[i];
    const Bytes& bytes =
        (side == PatchSide::kBase ? said.in_base : said.in_result) ? patch.after : patch.before;
    const ByteView part =
        ByteView(bytes).subspan(static_cast<std::size_t>(common.begin - patch.place.range.begin),
                                static_cast<std::size_t>(common.size()));
    std::ranges::copy(part, laid->begin() + static_cast<std::ptrdiff_t>(common.begin - place.range.begin));
  }
  return laid;
}

bool reached_by_patch(const RegionMap& map, const NamedRange& place) {
  return std::ranges::any_of(map.patches, [&](const PermittedPatch& patch) {
    return map.memories[patch.place.memory].name == place.memory && patch.place.range.overlaps(place.range);
  });
}

std::vector<std::optional<Sha256>> locked_digests(const OpenedBundle& opened, const Image& image,
                                                  ImageDigests& digests) {
  const auto asked = [&](const ManifestSpan& span) {
    const Memory* memory = image.find(span.place.memory);
    return is_matched(span) && memory != nullptr && memory->knows(span.place.range);
  };
  const std::vector<ManifestSpan>& spans = opened.manifest.controller().spans;
  std::vector<std::optional<Sha256>> found = digests.of_spans(
      spans, [&](const auto& span) { return asked(span) && !reached_by_patch(opened.map, span.place); });
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (found[i] || !asked(spans[i])) continue;
    if (const auto laid = with_patches(opened, image, spans[i].place, PatchSide::kResult))
      found[i] = compute_sha256(*laid);
  }
  return found;
}

std::optional<NamedRange> first_missing(const OpenedBundle& opened, const Image& read, bool binding) {
  const ManifestController& controller = opened.manifest.controller();
  for (const ManifestSpan& span : controller.spans) {
    // Of a binding field nothing is asked that the base did not know.
    const bool asked = span.after || (binding && span.kind == SpanKind::kBinding);
    const auto said = std::ranges::find(controller.memories, span.place.memory, &ManifestMemory::name);
    const bool known_in_base = std::ranges::any_of(
        said->known, [&](const Range& known) { return known.contains(span.place.range); });
    if (!asked || !known_in_base) continue;
    RangeSet missing(span.place.range);
    missing.remove(read.find(span.place.memory)->known.within(span.place.range));
    if (!missing.empty()) return NamedRange{span.place.memory, missing.ranges().front()};
  }
  return std::nullopt;
}

Status match_complete(const OpenedBundle& opened, const Image& read, bool binding) {
  const std::optional<NamedRange> missing = first_missing(opened, read, binding);
  if (!missing) return {};
  return fail({Reason::kReadIncomplete, "", missing->memory + " " + range_text(missing->range),
               "bytes that the read does not hold", "every byte that is matched or written",
               "read the controller again, with all the memories of the first read"});
}

Status match_locked(const OpenedBundle& opened, const Image& read, ImageDigests& digests) {
  const std::vector<ManifestSpan>& spans = opened.manifest.controller().spans;
  const auto found = locked_digests(opened, read, digests);
  const ManifestSpan* wrong = nullptr;
  for (std::size_t i = 0; i < spans.size() && wrong == nullptr; ++i) {
    if (is_matched(spans[i]) && found[i] != spans[i].after) wrong = &spans[i];
  }
  if (wrong == nullptr) return {};
  const Manifest& manifest = opened.manifest;
  return fail({Reason::kReadForeign, "", wrong->place.memory + " " + range_text(wrong->place.range),
               "locked bytes that differ",
               "the locked bytes of base " + std::to_string(manifest.base_number) + " of job " + manifest.job,
               "do not write: check that read and bundle belong to the same controller, and ask the shop"});
}

Status match_patches(const OpenedBundle& opened, const Image& read) {
  CALSEAL_CHECK(patch_states(opened.map, read));
  return {};
}

Status match_family(const OpenedBundle& opened, const Image& read) {
  return match_rule_and_bank(opened.map, read);
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
    const auto field = std::ranges::find(opened.map.identity, binding.name, &IdentityField::name);
    if (salted_digest(*evidence.salt, opened.map, *field, read) != *binding.digest) {
      return fail(
          {Reason::kVehicleMismatch, "", "binding " + binding.name, "another value in the read",
           "the value of the vehicle that this bundle is for",
           "do not write: the read is from another vehicle, or a part of the controller was exchanged; ask "
           "the shop"});
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
