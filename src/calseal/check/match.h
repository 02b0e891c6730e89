// Step "match" of docs/proof.md: does a read belong to this bundle's base, family and vehicle? Functions
// have the names of the text's steps. Errors say what was found; near_miss.h says what it most likely means.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/image_digests.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"
#include "calseal/image/image.h"

namespace calseal {

// What a person supplies about the controller at hand.
struct MatchEvidence {
  bool read_is_fresh = false;     // declared: nothing was driven or learned since the read
  std::optional<Bytes> salt;      // the job's salt, kSaltSize bytes
  std::string vehicle_reference;  // empty: not given
};

// On which side of a revision the permitted patches are laid.
enum class PatchSide : std::uint8_t { kBase, kResult };

// The bytes of a span in `image`, with every permitted patch that reaches into it laid as the manifest says
// for that side; nothing when no patch does, and the image's own bytes are meant.
std::optional<Bytes> with_patches(const OpenedBundle& opened, const Image& image, const NamedRange& place,
                                  PatchSide side);

bool reached_by_patch(const RegionMap& map, const NamedRange& place);

// Of each locked span that has one sealed and that `image` knows, with the permitted patches laid as in
// the result; nothing for the others. `digests` are of `image`.
std::vector<std::optional<Sha256>> locked_digests(const OpenedBundle& opened, const Image& image,
                                                  ImageDigests& digests);

// The first pinned or (with `binding`) binding span of which the read does not know every byte; its first
// unknown run.
std::optional<NamedRange> first_missing(const OpenedBundle& opened, const Image& read, bool binding);

// kReadIncomplete.
Status match_complete(const OpenedBundle& opened, const Image& read, bool binding = true);
// kReadForeign. `digests` are of `read`.
Status match_locked(const OpenedBundle& opened, const Image& read, ImageDigests& digests);
// kChangePatch.
Status match_patches(const OpenedBundle& opened, const Image& read);
// kFamilyMismatch, kBankNotActive.
Status match_family(const OpenedBundle& opened, const Image& read);
// kVehicleReference, kSaltWrong, kVehicleMismatch, kVehicleNotProvable.
Result<VehicleProof> match_vehicle(const OpenedBundle& opened, const Image& read,
                                   const MatchEvidence& evidence);

// Locked spans with a digest: what must be the same in every read of a base.
inline bool is_matched(const ManifestSpan& span) { return span.kind == SpanKind::kLocked && span.after; }

// Whether a salt that was given is the job's own (kSaltWrong); nothing to say where none was given or sealed.
Status check_salt(const Manifest& manifest, const std::optional<Bytes>& salt);

}  // namespace calseal
