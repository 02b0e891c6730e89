// Contents packed for a file in the framing of bundles, and the file put together from them.
//
// What may be in it, and by whom it is signed, is decided elsewhere; here it only gets its form.
#pragma once

#include <string>
#include <string_view>
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

// One entry, ready for the list of entries and for the file; from pack_entry(), which digested these bytes.
struct PackedEntry {
  ManifestEntry entry;
  Bytes stored;
};

// Raw deflate (RFC 1951) at a fixed level. The same content gives the same bytes for one version of
// libdeflate; readers never compress, so nothing rests on it. kInternal when libdeflate has no memory.
Result<Bytes> deflate_content(ByteView content);

// kFileTooLarge for more than kEntrySizeLimit.
Result<PackedEntry> pack_entry(std::string name, ByteView content, Packing packing);

// What is signed, and the signatures over it.
struct SignedFirst {
  ByteView text;
  std::vector<PrefixSignature> signatures;
};

// The bytes of a file of this kind: the first entry, its signatures (sorted here), then `stored`, the stored
// bytes of the listed entries in their order. Nothing is digested and no signature looked at. The kind's
// `wrong_size` when the file would be too large; kInternal when signatures are none, too many or of one key
// twice.
Result<Bytes> write_framed(const PrefixKind& kind, SignedFirst first,
                           const std::vector<ManifestEntry>& listed, const std::vector<ByteView>& stored);

}  // namespace calseal
