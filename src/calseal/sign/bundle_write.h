// Bundles as bytes: packing contents and putting manifest, signatures and contents into the one framing.
//
// What may be in a bundle is decided elsewhere; here it only gets its form.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"

namespace calseal {

enum class Packing : std::uint8_t {
  kStored,    // as it is: region map, set
  kSmallest,  // deflated where that is shorter, else as it is
};

// One entry, ready for the manifest's list and for the file; from pack_entry(), which digested these bytes.
struct PackedEntry {
  ManifestEntry entry;
  Bytes stored;
};

// Raw deflate (RFC 1951) at a fixed level. The same content gives the same bytes for one version of
// libdeflate; readers never compress, so nothing rests on it. kInternal when libdeflate has no memory.
Result<Bytes> deflate_content(ByteView content);

Result<PackedEntry> pack_entry(std::string name, ByteView content, Packing packing);

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
