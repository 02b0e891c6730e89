// The one framing of bundles and parcels: every header, offset, flag and time of the ZIP file as a pure
// function of its entries.
//
// PKWARE APPNOTE.TXT sections 4.3.7 (local header), 4.3.12 (central header), 4.3.16 (end record), within the
// profile of ISO/IEC 21320-1. The byte tables stand in docs/bundle-format.md.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/digest/crc.h"

namespace calseal {

inline constexpr std::uint64_t kLocalHeaderSize = 30;    // bytes, without the name
inline constexpr std::uint64_t kCentralHeaderSize = 46;  // bytes, without the name
inline constexpr std::uint64_t kEndRecordSize = 22;      // bytes

// What the framing knows of one entry.
struct FramedEntry {
  std::string name;
  bool deflated = false;
  std::uint64_t stored_size = 0;  // bytes
  std::uint64_t size = 0;         // bytes
  std::uint32_t crc32 = 0;        // CRC-32/ISO-HDLC of the content
  friend bool operator==(const FramedEntry&, const FramedEntry&) = default;
};

// Where everything stands. Offsets are from the start of the file.
struct Framing {
  std::vector<FramedEntry> entries;           // the first, signatures, then those that the first lists
  std::vector<std::uint64_t> header_offsets;  // of the local headers
  std::size_t first_listed = 0;               // index of the first listed entry in `entries`
  std::uint64_t directory_offset = 0;
  std::uint64_t total_size = 0;

  std::uint64_t content_offset(std::size_t index) const {
    return header_offsets[index] + kLocalHeaderSize + entries[index].name.size();
  }
};

// CRC-32/ISO-HDLC, the checksum of ZIP; streaming, and of a whole content.
const Crc& entry_crc();
std::uint32_t compute_entry_crc32(ByteView content);

// The framing of the given entries, one after another without a gap. Cannot fail; the sum of sizes must stay
// below 2^63.
Framing compute_framing(std::vector<FramedEntry> entries, std::size_t first_listed);

// The framing of a whole file whose first entry has this name and content, and lists these entries.
Framing compute_framing(std::string_view first_entry, ByteView first,
                        const std::vector<PrefixSignature>& signatures,
                        const std::vector<ManifestEntry>& listed);
// The same of a bundle.
Framing compute_framing(ByteView manifest_bytes, const std::vector<PrefixSignature>& signatures,
                        const Manifest& manifest);

// The bytes of one local header with its name, and of the central directory with the end record.
// `framing.total_size` must be at most kBundleSizeLimit.
Bytes local_header(const FramedEntry& entry);
Bytes central_directory(const Framing& framing);

// Compares every byte outside the contents of the entries with a framing generated anew, in file order, then
// the size of the file. kFramingDamaged with the offset of the first byte that differs.
Status verify_framing(ByteView file, const Framing& framing, const std::string& name);
// The same of a bundle, whose framing it gives back.
Result<Framing> verify_framing(ByteView file, const BundlePrefix& prefix, const Manifest& manifest,
                               const std::string& name);

}  // namespace calseal
