// Does a read belong to this bundle's base and vehicle?
#pragma once

#include <functional>
#include <optional>

#include "calseal/base/result.h"
#include "calseal/check/check.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"

namespace calseal {

// Every pinned byte that the base knows is known to the read, and with `binding` every byte of binding fields
// (kReadIncomplete).
Status match_known(const OpenedBundle& opened, const Image& read, bool binding);

// `image` is the read with the payload laid over it and cut to what the base knows; `read` is the read as it
// came. In this order: every pinned and binding byte that the base knows is known, so that the read's own
// file can hold the whole result (kReadIncomplete); locked spans equal the sealed ones (kReadForeign);
// permitted patches of the read stand whole (kChangePatch).
// `known`: SHA-256 of a span of `image` where that is known already; nothing: all are computed.
using KnownDigests = std::function<std::optional<Sha256>(const NamedRange&)>;
Status match_base(const OpenedBundle& opened, const Image& read, const Image& image,
                  const KnownDigests& known = nullptr);

// Whether a salt that was given is the job's own (kSaltWrong); nothing to say where none was given or sealed.
Status check_salt(const Manifest& manifest, const std::optional<Bytes>& salt);

// Binding fields against their salted digests (kSaltWrong, kVehicleMismatch); where nothing proves the
// vehicle, the stated reference must be the manifest's (kVehicleReference, kVehicleNotProvable).
Result<VehicleProof> match_vehicle(const OpenedBundle& opened, const Image& read,
                                   const MatchEvidence& evidence);

}  // namespace calseal
