#include "calseal/query/bundle_facts.h"

#include <algorithm>

#include "calseal/archive/recognise.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/claims.h"
#include "calseal/check/open.h"

namespace calseal {
namespace {

constexpr std::uint64_t kAnySize = std::uint64_t{1} << 60;  // bytes; the beginning alone is read

// The content of one entry, whose stored bytes are proved before they are inflated.
Result<Bytes> read_entry(ByteView file, const Framing& framing, const Manifest& manifest,
                         const std::string& entry_name, const std::string& name) {
  const ManifestEntry* const entry = manifest.find_entry(entry_name);
  const auto index = static_cast<std::size_t>(entry - manifest.entries.data());
  const Sha256 stored = compute_sha256(stored_bytes(file, framing, index));
  if (stored != entry->stored_digest) {
    return fail({Reason::kStoredDigest, name, entry_name, digest_text(stored),
                 digest_text(entry->stored_digest), "take another copy of this bundle"});
  }
  return read_content(file, framing, manifest, index, name);
}

std::vector<std::string> items_touched(const RegionMap& map, const std::vector<Change>& changes) {
  std::vector<std::string> names;
  for (const Item& item : map.items) {
    const bool touched = std::ranges::any_of(changes, [&](const Change& change) {
      return change.place.memory == map.memories[item.place.memory].name &&
             change.place.range.overlaps(item.place.range);
    });
    if (touched) names.push_back(item.name);
  }
  return names;
}

// The kinds of the fields that the manifest names, which are the map's own in its order.
Result<std::vector<std::string>> identity_kinds(const RegionMap& map, const Manifest& manifest,
                                                const std::string& name) {
  std::vector<std::string> names, kinds;
  for (const IdentityField& field : map.identity) {
    if (field.binds) continue;
    names.push_back(field.name);
    kinds.emplace_back(identity_kind_name(field.kind));
  }
  if (std::ranges::equal(names, manifest.controller().identity, {}, {}, &ManifestIdentity::name))
    return kinds;
  return claim_fault(name, "controllers/0/identity", "other fields than the region map has",
                     "the region map's identity fields");
}

}  // namespace

Result<bool> looks_like_bundle(const std::string& path) {
  Result<PartialFile> file = PartialFile::open(path, kAnySize);
  if (!file && file.error().reason == Reason::kFileEmpty) return false;
  if (!file) return fail(std::move(file).error());
  Bytes bytes;
  CALSEAL_CHECK(file->read_up_to(kRecogniseSize, bytes));
  return recognise(bytes) == FileKind::kBundle;
}

Result<BundleFacts> read_bundle_facts(const std::string& path) {
  const std::string name = printable(path);
  CALSEAL_ASSIGN(const Bytes file, read_file(path, kBundleSizeLimit));
  std::vector<Step> steps = all_steps();
  CALSEAL_ASSIGN(SignedManifest sealed, open_signed(file, name, nullptr, steps));
  CALSEAL_ASSIGN(const Framing framing, verify_framing(file, sealed.prefix, sealed.manifest, name));
  BundleFacts facts;
  facts.digest = sealed.digest;
  for (const PrefixSignature& signature : sealed.prefix.signatures) facts.signers.push_back(signature.key_id);
  facts.manifest = std::move(sealed.manifest);
  const auto entry = [&](const std::string& entry_name) {
    return read_entry(file, framing, facts.manifest, entry_name, name);
  };
  const std::string map_entry = "regions/" + facts.manifest.controller().name + ".json";
  CALSEAL_ASSIGN(Bytes map_text, entry(map_entry));
  CALSEAL_ASSIGN(const RegionMap map, parse_region_map(std::move(map_text), name + ":" + map_entry));
  CALSEAL_ASSIGN(const Bytes changes, entry(std::string(kChangesName)));
  CALSEAL_ASSIGN(facts.changes, parse_changes(changes, name + ":" + std::string(kChangesName)));
  facts.items = items_touched(map, facts.changes);
  CALSEAL_ASSIGN(facts.identity_kinds, identity_kinds(map, facts.manifest, name));
  return facts;
}

}  // namespace calseal
