// The contents of the entries of bundles and parcels: stored bytes proved first, content taken out and proved
// then.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"

namespace calseal {

// Entries as the manifest, or what stands in its place, lists them.
using ListedEntries = std::vector<ManifestEntry>;

// The stored bytes of the entry listed at `index`, as they stand in the file. Only after verify_framing().
ByteView stored_bytes(ByteView file, const Framing& framing, std::size_t index);

// SHA-256 of the stored bytes of every entry, in file order. kStoredDigest names the first that differs.
Status verify_stored_digests(ByteView file, const Framing& framing, const ListedEntries& entries,
                             const std::string& name);
inline Status verify_stored_digests(ByteView file, const Framing& framing, const Manifest& manifest,
                                    const std::string& name) {
  return verify_stored_digests(file, framing, manifest.entries, name);
}

// The content of `entries[index]`, its size, CRC-32 and SHA-256 proved; deflated bytes are inflated (RFC
// 1951) into at most the declared size, and must end exactly where the stored bytes and the declared size
// end. kContentDigest. Only after verify_stored_digests(): what that has hashed is not hashed again.
Result<Bytes> read_content(ByteView file, const Framing& framing, const ListedEntries& entries,
                           std::size_t index, const std::string& name);
inline Result<Bytes> read_content(ByteView file, const Framing& framing, const Manifest& manifest,
                                  std::size_t index, const std::string& name) {
  return read_content(file, framing, manifest.entries, index, name);
}

// The same proof without the content: in bounded memory, for what is only carried along.
Status verify_content(ByteView file, const Framing& framing, const ListedEntries& entries, std::size_t index,
                      const std::string& name);
inline Status verify_content(ByteView file, const Framing& framing, const Manifest& manifest,
                             std::size_t index, const std::string& name) {
  return verify_content(file, framing, manifest.entries, index, name);
}

// As read_content(), by the entry's name; kManifestInvalid when the manifest lists no such entry.
Result<Bytes> read_content(ByteView file, const Framing& framing, const Manifest& manifest,
                           std::string_view entry_name, const std::string& name);

}  // namespace calseal
