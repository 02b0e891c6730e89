// Step "contents": what the entries of a bundle hold, and that it agrees with the manifest. The comparisons
// are those of docs/proof.md, "contents against the manifest", by the same names.
#pragma once

#include "calseal/base/result.h"
#include "calseal/check/open.h"

namespace calseal {

// Region map, changes, set, payload and attachments out of `opened.file`, each proved by its digest, read,
// and compared. Needs name, file, manifest and framing. `parsed`: a region map that was parsed before; the
// same text is not parsed again. kContentDigest, the reasons of each file, kClaimMismatch.
Status read_contents(OpenedBundle& opened, const RegionMap* parsed = nullptr);

}  // namespace calseal
