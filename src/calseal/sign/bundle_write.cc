#include "calseal/sign/bundle_write.h"

#include <utility>

#include "calseal/base/text.h"
#include "calseal/digest/sha256_many.h"

namespace calseal {
namespace {

tl::unexpected<Error> our_fault(const std::string& place, std::string found, std::string expected) {
  return fail({Reason::kInternal, "", place, std::move(found), std::move(expected), "report this fault"});
}

// `fits`: whether the content at an index is what an entry of the manifest names.
template <typename Fits>
Status check_contents(const Manifest& manifest, std::size_t contents, Fits fits) {
  if (contents != manifest.entries.size()) {
    return our_fault("entries", std::to_string(contents) + " contents",
                     std::to_string(manifest.entries.size()));
  }
  for (std::size_t i = 0; i < contents; ++i) {
    if (fits(i, manifest.entries[i])) continue;
    return our_fault(printable(manifest.entries[i].name, 160), "other stored bytes",
                     "those that the manifest names");
  }
  return {};
}

}  // namespace

Result<Bytes> write_bundle(const Manifest& manifest, std::vector<PrefixSignature> signatures,
                           const std::vector<ByteView>& stored) {
  const std::vector<Sha256> digests = compute_sha256_of_each(stored);
  CALSEAL_CHECK(check_contents(manifest, stored.size(), [&](std::size_t i, const ManifestEntry& entry) {
    return stored[i].size() == entry.stored_size && digests[i] == entry.stored_digest;
  }));
  const std::string text = write_manifest(manifest);
  return write_framed(kBundlePrefix, {view_of(text), std::move(signatures)}, manifest.entries, stored);
}

Result<Bytes> write_bundle(const Manifest& manifest, ByteView text, std::vector<PrefixSignature> signatures,
                           const std::vector<PackedEntry>& entries) {
  CALSEAL_CHECK(check_contents(manifest, entries.size(), [&](std::size_t i, const ManifestEntry& entry) {
    return entries[i].entry == entry && entries[i].stored.size() == entry.stored_size;
  }));
  std::vector<ByteView> stored;
  for (const PackedEntry& entry : entries) stored.emplace_back(entry.stored);
  return write_framed(kBundlePrefix, {text, std::move(signatures)}, manifest.entries, stored);
}

}  // namespace calseal
