#include "calseal/bundle/entries.h"

#include <zlib.h>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::string_view kAskAgain = "do not use this bundle; ask its sender for a new one";

tl::unexpected<Error> wrong_content(const ManifestEntry& entry, const std::string& name, std::string found,
                                    std::string expected) {
  return fail({Reason::kContentDigest, name, printable(entry.name, 160), std::move(found),
               std::move(expected), std::string(kAskAgain)});
}

// Ends the inflater on every way out.
class Inflater {
 public:
  Inflater() : ready_(inflateInit2(&stream_, -15) == Z_OK) {}  // negative: no zlib header around the data
  ~Inflater() {
    if (ready_) inflateEnd(&stream_);
  }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;

  // True when `in` is one whole deflate stream of exactly out.size() bytes. Sizes are below 2^31.
  bool run(ByteView in, std::span<std::uint8_t> out) {
    if (!ready_) return false;
    std::uint8_t nothing = 0;  // zlib wants a place to write to, even for no bytes
    stream_.next_in = const_cast<Bytef*>(in.data());
    stream_.avail_in = static_cast<uInt>(in.size());
    stream_.next_out = out.empty() ? &nothing : out.data();
    stream_.avail_out = static_cast<uInt>(out.size());
    return inflate(&stream_, Z_FINISH) == Z_STREAM_END && stream_.avail_in == 0 && stream_.avail_out == 0;
  }

 private:
  z_stream stream_{};
  bool ready_;
};

}  // namespace

ByteView stored_bytes(ByteView file, const Framing& framing, std::size_t index) {
  const std::size_t at = framing.first_listed + index;
  return file.subspan(framing.content_offset(at), framing.entries[at].stored_size);
}

Status verify_stored_digests(ByteView file, const Framing& framing, const Manifest& manifest,
                             const std::string& name) {
  for (std::size_t i = 0; i < manifest.entries.size(); ++i) {
    const ManifestEntry& entry = manifest.entries[i];
    const Sha256 digest = compute_sha256(stored_bytes(file, framing, i));
    if (digest == entry.stored_digest) continue;
    return fail({Reason::kStoredDigest, name, printable(entry.name, 160), "SHA-256 " + digest_text(digest),
                 digest_text(entry.stored_digest), "copy or download the file again"});
  }
  return {};
}

Result<Bytes> read_content(ByteView file, const Framing& framing, const Manifest& manifest, std::size_t index,
                           const std::string& name) {
  const ManifestEntry& entry = manifest.entries[index];
  const ByteView stored = stored_bytes(file, framing, index);
  Bytes content;
  if (entry.deflated) {
    content.resize(entry.size);
    Inflater inflater;
    if (!inflater.run(stored, content)) {
      return wrong_content(entry, name, "stored bytes that do not inflate to that size",
                           "one deflate stream of exactly " + grouped(entry.size) + " bytes");
    }
  } else {
    content.assign(stored.begin(), stored.end());
  }
  if (content.size() != entry.size) {
    return wrong_content(entry, name, grouped(content.size()) + " bytes", grouped(entry.size) + " bytes");
  }
  const std::uint32_t crc = compute_entry_crc32(content);
  if (crc != entry.crc32)
    return wrong_content(entry, name, "CRC-32 " + hex_number(crc, 8), hex_number(entry.crc32, 8));
  const Sha256 digest = compute_sha256(content);
  if (digest != entry.digest) {
    return wrong_content(entry, name, "SHA-256 " + digest_text(digest), digest_text(entry.digest));
  }
  return content;
}

Result<Bytes> read_content(ByteView file, const Framing& framing, const Manifest& manifest,
                           std::string_view entry_name, const std::string& name) {
  const ManifestEntry* const entry = manifest.find_entry(entry_name);
  if (entry == nullptr) {
    return fail({Reason::kManifestInvalid, name, "/entries", "no entry " + printable(entry_name),
                 "that entry", std::string(kAskAgain)});
  }
  return read_content(file, framing, manifest, static_cast<std::size_t>(entry - manifest.entries.data()),
                      name);
}

}  // namespace calseal
