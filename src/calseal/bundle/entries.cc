#include "calseal/bundle/entries.h"

#include <libdeflate.h>
#include <zlib.h>

#include <algorithm>
#include <memory>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/bundle/passing_file.h"
#include "calseal/digest/sha256_many.h"

namespace calseal {
namespace {

constexpr std::string_view kAskAgain = "do not use this file; ask its sender for a new one";

tl::unexpected<Error> wrong_content(const ManifestEntry& entry, const std::string& name, std::string found,
                                    std::string expected) {
  return fail({Reason::kContentDigest, name, printable(entry.name, 160), std::move(found),
               std::move(expected), std::string(kAskAgain)});
}

constexpr std::size_t kPieceSize = 65536;  // bytes

// A deflate stream gives at most so many bytes for each of its own: a match of 258 bytes in two bits.
constexpr std::uint64_t kMostForOne = 1032;

struct FreeDecompressor {
  void operator()(libdeflate_decompressor* decompressor) const { libdeflate_free_decompressor(decompressor); }
};

// The content of `in`, when it is one whole deflate stream of exactly `size` bytes. Memory is asked for only
// when `in` is long enough to fill it.
std::optional<Bytes> inflate_whole(ByteView in, std::uint64_t size) {
  if (size / kMostForOne > in.size()) return std::nullopt;
  const std::unique_ptr<libdeflate_decompressor, FreeDecompressor> decompressor(
      libdeflate_alloc_decompressor());
  if (decompressor == nullptr) return std::nullopt;
  // One byte of room more, since a buffer of no bytes cannot be told from none.
  Bytes content(static_cast<std::size_t>(size) + 1);
  std::size_t taken = 0;
  std::size_t given = 0;
  const libdeflate_result result = libdeflate_deflate_decompress_ex(
      decompressor.get(), in.data(), in.size(), content.data(), content.size(), &taken, &given);
  if (result != LIBDEFLATE_SUCCESS || taken != in.size() || given != size) return std::nullopt;
  content.resize(given);
  return content;
}

// Inflates in pieces what nobody keeps. Ends the inflater on every way out.
class Inflater {
 public:
  Inflater() : ready_(inflateInit2(&stream_, -15) == Z_OK) {}  // negative: no zlib header around the data
  ~Inflater() {
    if (ready_) inflateEnd(&stream_);
  }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;

  // Hands `take` the content piece by piece. True when `in` is one whole deflate stream of exactly `size`
  // bytes; never gives more. Sizes are below 2^31.
  template <typename Take>
  bool run(ByteView in, std::uint64_t size, Take take) {
    if (!ready_) return false;
    Bytes piece(kPieceSize);
    stream_.next_in = const_cast<Bytef*>(in.data());
    stream_.avail_in = static_cast<uInt>(in.size());
    for (std::uint64_t left = size;;) {
      stream_.next_out = piece.data();
      stream_.avail_out = static_cast<uInt>(std::min<std::uint64_t>(kPieceSize, left));
      // Once all is there, one byte of room shows whether the stream ends here or would give more.
      if (left == 0) stream_.avail_out = 1;
      const uInt room = stream_.avail_out;
      const int result = inflate(&stream_, Z_NO_FLUSH);
      const uInt got = room - stream_.avail_out;
      if (got > left) return false;
      take(ByteView(piece).first(got));
      left -= got;
      if (result == Z_STREAM_END) return left == 0 && stream_.avail_in == 0;
      if (result != Z_OK || (got == 0 && stream_.avail_in == 0)) return false;
    }
  }

 private:
  z_stream stream_{};
  bool ready_;
};

// Proves size, CRC-32 and SHA-256 while the content passes by.
class Proof {
 public:
  explicit Proof(const ManifestEntry& entry) : entry_(entry) {}

  void take(ByteView piece) {
    size_ += piece.size();
    crc_ = entry_crc().update(crc_, piece);
    // A stored content is the stored bytes, whose digest was proved.
    if (entry_.deflated) hasher_.update(piece);
  }

  Status judge(const std::string& name) {
    const ManifestEntry& entry = entry_;
    if (size_ != entry.size) {
      return wrong_content(entry, name, grouped(size_) + " bytes", grouped(entry.size) + " bytes");
    }
    const auto crc = static_cast<std::uint32_t>(entry_crc().finish(crc_));
    if (crc != entry.crc32)
      return wrong_content(entry, name, "CRC-32 " + hex_number(crc, 8), hex_number(entry.crc32, 8));
    const Sha256 digest = entry.deflated ? hasher_.finish() : entry.stored_digest;
    if (digest == entry.digest) return {};
    return wrong_content(entry, name, "SHA-256 " + digest_text(digest), digest_text(entry.digest));
  }

 private:
  const ManifestEntry& entry_;
  std::uint64_t size_ = 0;
  std::uint64_t crc_ = entry_crc().start();
  Sha256Hasher hasher_;
};

tl::unexpected<Error> does_not_inflate(const ManifestEntry& entry, const std::string& name) {
  return wrong_content(entry, name, "stored bytes that do not inflate to that size",
                       "one deflate stream of exactly " + grouped(entry.size) + " bytes");
}

}  // namespace

tl::unexpected<Error> wrong_stored_digest(const ManifestEntry& entry, const Sha256& found,
                                          const std::string& name) {
  return fail({Reason::kStoredDigest, name, printable(entry.name, 160), "SHA-256 " + digest_text(found),
               digest_text(entry.stored_digest), "copy or download the file again"});
}

ByteView stored_bytes(ByteView file, const Framing& framing, std::size_t index) {
  const std::size_t at = framing.first_listed + index;
  return file.subspan(framing.content_offset(at), framing.entries[at].stored_size);
}

Status verify_stored_digests(ByteView file, const Framing& framing, const ListedEntries& entries,
                             const std::string& name) {
  std::vector<ByteView> stored;
  for (std::size_t i = 0; i < entries.size(); ++i) stored.push_back(stored_bytes(file, framing, i));
  const std::vector<Sha256> found = compute_sha256_of_each(stored);
  for (std::size_t i = 0; i < found.size(); ++i) {
    if (found[i] != entries[i].stored_digest) return wrong_stored_digest(entries[i], found[i], name);
  }
  return {};
}

Result<Bytes> read_content(ByteView file, const Framing& framing, const ListedEntries& entries,
                           std::size_t index, const std::string& name) {
  const ManifestEntry& entry = entries[index];
  const ByteView stored = stored_bytes(file, framing, index);
  Bytes content;
  if (!entry.deflated) {
    content.assign(stored.begin(), stored.end());
  } else {
    std::optional<Bytes> inflated = inflate_whole(stored, entry.size);
    if (!inflated) return does_not_inflate(entry, name);
    content = *std::move(inflated);
  }
  Proof proof(entry);
  proof.take(content);
  CALSEAL_CHECK(proof.judge(name));
  return content;
}

Status verify_content(ByteView file, const Framing& framing, const ListedEntries& entries, std::size_t index,
                      const std::string& name) {
  const ManifestEntry& entry = entries[index];
  const ByteView stored = stored_bytes(file, framing, index);
  Proof proof(entry);
  const auto take = [&](ByteView piece) { proof.take(piece); };
  if (!entry.deflated) {
    take(stored);
  } else if (Inflater inflater; !inflater.run(stored, entry.size, take)) {
    return does_not_inflate(entry, name);
  }
  return proof.judge(name);
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
