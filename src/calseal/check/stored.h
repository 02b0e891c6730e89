// What can be said of a bundle without looking into its contents: container, signatures, digests of stored
// bytes, and whether these keys may sign it. In bounded memory, whatever the size of the file.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/open.h"
#include "calseal/trust/key.h"

namespace calseal {

// The bytes behind those that were given before; valid until the next call; empty at the end of the file.
using NextPiece = std::function<Result<ByteView>()>;

struct StoredBundle {
  std::optional<Error> reason;  // nothing: everything holds as far as it was looked at
  // Known once the signatures over it were good.
  std::optional<Manifest> manifest;
  Sha256 digest;               // of the manifest: the revision's identity
  std::vector<KeyId> signers;  // in the order of the file
  Sha256 seal_digest;
  std::optional<Framing> framing;
  bool incomplete = false;  // roles are missing, which RolesRule::kMayBeMissing let pass
};

// SHA-256 over the manifest's digest, then key id and signature of each signature in the order of the file.
// Every byte of the file follows from it: the framing is a function of manifest and signatures, and the
// contents are named by their digests.
Sha256 compute_seal_digest(const Sha256& identity, const std::vector<PrefixSignature>& signatures);

// The steps "prefix" to "trust" of open_sealed(), with the same reasons in the same order; order in time and
// contents are not looked at. `beginning`: the first kPrefixSizeLimit bytes at least, or all.
StoredBundle open_stored(ByteView beginning, const NextPiece& next, const std::string& name,
                         const OpenContext& context);

// The step "contents" of a bundle that open_stored() has found to hold: its region map, changes, set and
// payload. `file`: the same bytes. `parsed`: a region map that may well be the same one; its text is compared.
Result<OpenedBundle> open_contents(Bytes file, StoredBundle stored, const std::string& name,
                                   const RegionMap* parsed = nullptr);

}  // namespace calseal
