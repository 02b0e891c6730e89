#include "calseal/query/bundle_facts.h"

#include <algorithm>

#include "calseal/archive/recognise.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/prefix.h"

namespace calseal {
namespace {

Result<std::vector<Change>> read_changes(ByteView file, const Framing& framing, const Manifest& manifest,
                                         const std::string& name) {
  const ManifestEntry* const entry = manifest.find_entry(kChangesName);
  if (entry == nullptr) return std::vector<Change>();
  const auto index = static_cast<std::size_t>(entry - manifest.entries.data());
  // Stored bytes are proved before they are inflated.
  const Sha256 stored = compute_sha256(stored_bytes(file, framing, index));
  if (stored != entry->stored_digest) {
    return fail({Reason::kStoredDigest, name, std::string(kChangesName), digest_text(stored),
                 digest_text(entry->stored_digest), "take another copy of this bundle"});
  }
  CALSEAL_ASSIGN(const Bytes text, read_content(file, framing, manifest, index, name));
  return parse_changes(text, name + ":" + std::string(kChangesName));
}

}  // namespace

bool looks_like_bundle(const std::string& path) {
  Result<PartialFile> file = PartialFile::open(path, kBundleSizeLimit);
  Bytes bytes;
  return file && file->read_up_to(kRecogniseSize, bytes) && recognise(bytes) == FileKind::kBundle;
}

Result<BundleFacts> read_bundle_facts(const std::string& path) {
  const std::string name = printable(path);
  CALSEAL_ASSIGN(const Bytes file, read_file(path, kBundleSizeLimit));
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(file, name));
  BundleFacts facts;
  CALSEAL_ASSIGN(facts.manifest, parse_manifest(prefix.manifest, name));
  facts.digest = compute_sha256(prefix.manifest);
  for (const PrefixSignature& signature : prefix.signatures) facts.signers.push_back(signature.key_id);
  CALSEAL_ASSIGN(const Framing framing, verify_framing(file, prefix, facts.manifest, name));
  CALSEAL_ASSIGN(facts.changes, read_changes(file, framing, facts.manifest, name));
  return facts;
}

}  // namespace calseal
