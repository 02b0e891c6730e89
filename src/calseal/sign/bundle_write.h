// Bundles as bytes: manifest, signatures and packed contents (bundle/pack.h) put into the one framing.
//
// What may be in a bundle is decided elsewhere; here it only gets its form.
#pragma once

#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/pack.h"
#include "calseal/bundle/prefix.h"

namespace calseal {

// The bytes of a bundle: the manifest's canonical text, the signatures (sorted here), then `stored`, the
// stored bytes of manifest.entries in their order. Signatures are not looked at. kBundleSize when the file
// would be too large; kInternal when `stored` does not fit the manifest, or signatures are none, too many or
// of one key twice.
Result<Bytes> write_bundle(const Manifest& manifest, std::vector<PrefixSignature> signatures,
                           const std::vector<ByteView>& stored);
// The same of entries just packed, which are not digested again; `text` is write_manifest(manifest).
Result<Bytes> write_bundle(const Manifest& manifest, ByteView text, std::vector<PrefixSignature> signatures,
                           const std::vector<PackedEntry>& entries);

}  // namespace calseal
