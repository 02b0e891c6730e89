#include "calseal/bundle/pack.h"

#include <libdeflate.h>

#include <algorithm>
#include <memory>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/bundle/framing.h"
#include "calseal/digest/sha256_many.h"

namespace calseal {
namespace {

tl::unexpected<Error> our_fault(const std::string& place, std::string found, std::string expected) {
  return fail({Reason::kInternal, "", place, std::move(found), std::move(expected), "report this fault"});
}

Status check_signatures(const std::vector<PrefixSignature>& signatures, std::size_t limit) {
  if (signatures.empty() || signatures.size() > limit)
    return our_fault("signatures", std::to_string(signatures.size()), "from 1 to " + std::to_string(limit));
  const auto same_key = [](const PrefixSignature& a, const PrefixSignature& b) {
    return a.key_id == b.key_id;
  };
  if (std::adjacent_find(signatures.begin(), signatures.end(), same_key) != signatures.end())
    return our_fault("signatures", "one key twice", "different keys");
  return {};
}

struct FreeCompressor {
  void operator()(libdeflate_compressor* compressor) const { libdeflate_free_compressor(compressor); }
};

}  // namespace

Result<Bytes> deflate_content(ByteView content) {
  constexpr int kLevel = 6;  // higher ones take several times as long for little (docs/performance.md)
  const std::unique_ptr<libdeflate_compressor, FreeCompressor> compressor(
      libdeflate_alloc_compressor(kLevel));
  if (compressor == nullptr) return our_fault("deflate", "no memory for libdeflate", "a compressor");
  Bytes out(libdeflate_deflate_compress_bound(compressor.get(), content.size()));
  const std::size_t size =
      libdeflate_deflate_compress(compressor.get(), content.data(), content.size(), out.data(), out.size());
  if (size == 0) return our_fault("deflate", "no result", "the stream within its bound");
  out.resize(size);
  return out;
}

Result<PackedEntry> pack_entry(std::string name, ByteView content, Packing packing) {
  if (content.size() > kEntrySizeLimit) {
    return fail({Reason::kFileTooLarge, printable(name, 160), "", grouped(content.size()) + " bytes",
                 "at most " + grouped(kEntrySizeLimit) + " bytes", "leave it out or make it smaller"});
  }
  PackedEntry packed;
  packed.entry.name = std::move(name);
  packed.entry.size = content.size();
  packed.entry.crc32 = compute_entry_crc32(content);
  if (packing == Packing::kSmallest) {
    CALSEAL_ASSIGN(packed.stored, deflate_content(content));
    packed.entry.deflated = packed.stored.size() < content.size();
  }
  if (!packed.entry.deflated) packed.stored.assign(content.begin(), content.end());
  packed.entry.stored_size = packed.stored.size();
  // Bytes that are stored as they are have one digest.
  std::vector<ByteView> pieces{content};
  if (packed.entry.deflated) pieces.emplace_back(packed.stored);
  const std::vector<Sha256> digests = compute_sha256_of_each(pieces);
  packed.entry.digest = digests.front();
  packed.entry.stored_digest = digests.back();
  return packed;
}

Result<Bytes> write_framed(const PrefixKind& kind, SignedFirst first,
                           const std::vector<ManifestEntry>& listed, const std::vector<ByteView>& stored) {
  std::sort(first.signatures.begin(), first.signatures.end(),
            [](const PrefixSignature& a, const PrefixSignature& b) { return a.key_id < b.key_id; });
  CALSEAL_CHECK(check_signatures(first.signatures, kind.signature_limit));
  const Framing framing = compute_framing(kind.first_entry, first.text, first.signatures, listed);
  if (first.text.size() > kManifestSizeLimit || framing.total_size > kBundleSizeLimit) {
    return fail({kind.wrong_size, "", "",
                 grouped(first.text.size()) + " bytes of " + std::string(kind.first_word) + ", " +
                     grouped(framing.total_size) + " in all",
                 "at most " + grouped(kManifestSizeLimit) + " and " + grouped(kBundleSizeLimit),
                 "attach less, or split the work into several revisions"});
  }
  std::vector<ByteView> contents{first.text};
  for (const PrefixSignature& signature : first.signatures) contents.emplace_back(signature.signature);
  contents.insert(contents.end(), stored.begin(), stored.end());
  Bytes out;
  out.reserve(framing.total_size);
  for (std::size_t i = 0; i < framing.entries.size(); ++i) {
    const Bytes header = local_header(framing.entries[i]);
    out.insert(out.end(), header.begin(), header.end());
    out.insert(out.end(), contents[i].begin(), contents[i].end());
  }
  const Bytes directory = central_directory(framing);
  out.insert(out.end(), directory.begin(), directory.end());
  return out;
}

}  // namespace calseal
