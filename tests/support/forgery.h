// A sealed bundle taken apart, bent, and honestly signed again: what a careless or hostile holder of a listed
// key can make.
#pragma once

#include "calseal/bundle/entries.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/pinned_digest.h"
#include "calseal/sign/bundle_write.h"
#include "support/small_job.h"

namespace calseal {

struct Forgery {
  Manifest manifest;
  std::vector<Bytes> contents;  // of manifest.entries

  ManifestController& controller() { return manifest.controllers.front(); }
  Bytes& content(std::string_view name) {
    for (std::size_t i = 0; i < contents.size(); ++i) {
      if (manifest.entries[i].name == name) return contents[i];
    }
    throw std::runtime_error("no entry " + std::string(name));
  }
  // The span that holds an address.
  ManifestSpan& span(std::string_view memory, std::uint64_t at) {
    for (ManifestSpan& span : controller().spans) {
      if (span.place.memory == memory && span.place.range.contains(at)) return span;
    }
    throw std::runtime_error("no span");
  }
};

inline Forgery take_apart(const SealedBundle& sealed) {
  Forgery forgery{sealed.manifest, {}};
  const auto prefix = read_prefix(sealed.file, "b");
  const auto framing = verify_framing(sealed.file, *prefix, sealed.manifest, "b");
  for (const ManifestEntry& entry : sealed.manifest.entries) {
    forgery.contents.push_back(*read_content(sealed.file, *framing, sealed.manifest, entry.name, "b"));
  }
  return forgery;
}

// Entries and pinned digests follow what was bent; the signatures are true.
inline Bytes put_together(Forgery forgery, const SigningKeys& keys) {
  ManifestController& controller = forgery.controller();
  controller.pinned_before = compute_pinned_digest(controller.spans, Side::kBefore);
  controller.pinned_after = compute_pinned_digest(controller.spans, Side::kAfter);
  std::vector<PackedEntry> packed;
  for (std::size_t i = 0; i < forgery.contents.size(); ++i) {
    const std::string& name = forgery.manifest.entries[i].name;
    const bool stored = name.starts_with("regions/") || name == kSetName;
    packed.push_back(*pack_entry(name, forgery.contents[i], stored ? Packing::kStored : Packing::kSmallest));
    forgery.manifest.entries[i] = packed.back().entry;
  }
  const std::string text = write_manifest(forgery.manifest);
  std::vector<PrefixSignature> signatures;
  for (const PrivateKey& key : keys) signatures.push_back(*key.sign(view_of(text)));
  std::vector<ByteView> stored;
  for (const PackedEntry& entry : packed) stored.emplace_back(entry.stored);
  return *write_bundle(forgery.manifest, signatures, stored);
}

}  // namespace calseal
