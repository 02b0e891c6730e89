// The contents of a bundle's entries: stored bytes proved first, content taken out and proved then.
#pragma once

#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"

namespace calseal {

// The stored bytes of `manifest.entries[index]`, as they stand in the file. Only after verify_framing().
ByteView stored_bytes(ByteView file, const Framing& framing, std::size_t index);

// SHA-256 of the stored bytes of every entry, in file order. kStoredDigest names the first that differs.
Status verify_stored_digests(ByteView file, const Framing& framing, const Manifest& manifest,
                             const std::string& name);

// The content of `manifest.entries[index]`, its size, CRC-32 and SHA-256 proved; deflated bytes are inflated
// (RFC 1951) into at most the declared size, and must end exactly where the stored bytes and the declared
// size end. kContentDigest. Only after verify_stored_digests(): what that has hashed is not hashed again.
Result<Bytes> read_content(ByteView file, const Framing& framing, const Manifest& manifest, std::size_t index,
                           const std::string& name);

// The same proof without the content: in bounded memory, for what is only carried along.
Status verify_content(ByteView file, const Framing& framing, const Manifest& manifest, std::size_t index,
                      const std::string& name);

// As read_content(), by the entry's name; kManifestInvalid when the manifest lists no such entry.
Result<Bytes> read_content(ByteView file, const Framing& framing, const Manifest& manifest,
                           std::string_view entry_name, const std::string& name);

}  // namespace calseal
