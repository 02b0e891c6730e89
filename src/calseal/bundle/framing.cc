#include "calseal/bundle/framing.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/framing_compare.h"
#include "calseal/bundle/little_endian.h"
#include "calseal/digest/crc.h"

namespace calseal {
namespace {

constexpr std::uint32_t kLocalSignature = 0x04034b50;
constexpr std::uint32_t kCentralSignature = 0x02014b50;
constexpr std::uint32_t kEndSignature = 0x06054b50;
constexpr std::uint64_t kMadeBy = 20;
constexpr std::uint64_t kDate = 0x0021;  // 1980-01-01, the earliest that ZIP can say

// The 26 bytes that local and central header share, from "version needed" to "extra field length".
void append_shared(Bytes& out, const FramedEntry& entry) {
  append_little(out, entry.deflated ? 20 : 10, 2);  // version needed to extract
  append_little(out, 0, 2);                         // flags
  append_little(out, entry.deflated ? 8 : 0, 2);    // method
  append_little(out, 0, 2);                         // time
  append_little(out, kDate, 2);
  append_little(out, entry.crc32, 4);
  append_little(out, entry.stored_size, 4);
  append_little(out, entry.size, 4);
  append_little(out, entry.name.size(), 2);
  append_little(out, 0, 2);  // extra field length
}

void append_text(Bytes& out, std::string_view text) { out.insert(out.end(), text.begin(), text.end()); }

Status compare(ByteView file, std::uint64_t at, ByteView expected, const std::string& what,
               const std::string& name) {
  const std::uint64_t present =
      at < file.size() ? std::min<std::uint64_t>(expected.size(), file.size() - at) : 0;
  return compare_framing(present == 0 ? ByteView() : file.subspan(at, present), at, expected, what, name);
}

}  // namespace

Status compare_framing(ByteView found, std::uint64_t at, ByteView expected, const std::string& what,
                       const std::string& name) {
  for (std::uint64_t i = 0; i < expected.size(); ++i) {
    if (i < found.size() && found[i] == expected[i]) continue;
    const std::string there =
        i < found.size() ? hex_excerpt(found.subspan(i, std::min<std::uint64_t>(found.size() - i, 8)), 8)
                         : "the end of the file";
    return fail({Reason::kFramingDamaged, name, "byte " + std::to_string(at + i) + ", " + what, there,
                 hex_excerpt(expected.subspan(i, std::min<std::uint64_t>(expected.size() - i, 8)), 8),
                 "copy or download the file again"});
  }
  return {};
}

tl::unexpected<Error> framing_goes_on(std::uint64_t total_size, const std::string& name) {
  return fail({Reason::kFramingDamaged, name, "byte " + std::to_string(total_size), "more bytes",
               "the end of the file", "copy or download the file again"});
}

const Crc& entry_crc() {
  static const Crc crc({32, 0x04c11db7, 0xffffffff, true, true, 0xffffffff});
  return crc;
}

std::uint32_t compute_entry_crc32(ByteView content) {
  return static_cast<std::uint32_t>(entry_crc().compute(content));
}

Framing compute_framing(std::vector<FramedEntry> entries, std::size_t first_listed) {
  Framing framing;
  framing.entries = std::move(entries);
  framing.first_listed = first_listed;
  std::uint64_t at = 0;
  std::uint64_t directory_size = 0;
  for (const FramedEntry& entry : framing.entries) {
    framing.header_offsets.push_back(at);
    at += kLocalHeaderSize + entry.name.size() + entry.stored_size;
    directory_size += kCentralHeaderSize + entry.name.size();
  }
  framing.directory_offset = at;
  framing.total_size = at + directory_size + kEndRecordSize;
  return framing;
}

Framing compute_framing(std::string_view first_entry, ByteView first,
                        const std::vector<PrefixSignature>& signatures,
                        const std::vector<ManifestEntry>& listed) {
  std::vector<FramedEntry> entries;
  entries.push_back(
      {std::string(first_entry), false, first.size(), first.size(), compute_entry_crc32(first)});
  for (const PrefixSignature& signature : signatures) {
    entries.push_back({signature_entry_name(signature.key_id), false, kSignatureSize, kSignatureSize,
                       compute_entry_crc32(signature.signature)});
  }
  const std::size_t first_listed = entries.size();
  for (const ManifestEntry& entry : listed) {
    entries.push_back({entry.name, entry.deflated, entry.stored_size, entry.size, entry.crc32});
  }
  return compute_framing(std::move(entries), first_listed);
}

Framing compute_framing(ByteView manifest_bytes, const std::vector<PrefixSignature>& signatures,
                        const Manifest& manifest) {
  return compute_framing(kManifestName, manifest_bytes, signatures, manifest.entries);
}

Bytes local_header(const FramedEntry& entry) {
  Bytes out;
  append_little(out, kLocalSignature, 4);
  append_shared(out, entry);
  append_text(out, entry.name);
  return out;
}

Bytes central_directory(const Framing& framing) {
  Bytes out;
  for (std::size_t i = 0; i < framing.entries.size(); ++i) {
    append_little(out, kCentralSignature, 4);
    append_little(out, kMadeBy, 2);
    append_shared(out, framing.entries[i]);
    append_little(out, 0, 2);  // comment length
    append_little(out, 0, 2);  // disk on which the entry starts
    append_little(out, 0, 2);  // internal attributes
    append_little(out, 0, 4);  // external attributes
    append_little(out, framing.header_offsets[i], 4);
    append_text(out, framing.entries[i].name);
  }
  const std::uint64_t directory_size = out.size();
  append_little(out, kEndSignature, 4);
  append_little(out, 0, 2);  // this disk
  append_little(out, 0, 2);  // disk on which the directory starts
  append_little(out, framing.entries.size(), 2);
  append_little(out, framing.entries.size(), 2);
  append_little(out, directory_size, 4);
  append_little(out, framing.directory_offset, 4);
  append_little(out, 0, 2);  // comment length
  return out;
}

Status verify_framing(ByteView file, const Framing& framing, const std::string& name) {
  for (std::size_t i = 0; i < framing.entries.size(); ++i) {
    const std::string what = "header of " + printable(framing.entries[i].name, 160);
    CALSEAL_CHECK(compare(file, framing.header_offsets[i], local_header(framing.entries[i]), what, name));
  }
  CALSEAL_CHECK(
      compare(file, framing.directory_offset, central_directory(framing), "central directory", name));
  if (file.size() != framing.total_size) return framing_goes_on(framing.total_size, name);
  return {};
}

Result<Framing> verify_framing(ByteView file, const BundlePrefix& prefix, const Manifest& manifest,
                               const std::string& name) {
  Framing framing = compute_framing(prefix.manifest, prefix.signatures, manifest);
  CALSEAL_CHECK(verify_framing(file, framing, name));
  return framing;
}

}  // namespace calseal
