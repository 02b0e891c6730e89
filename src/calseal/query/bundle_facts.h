// What the index keeps of one bundle: its manifest and its list of changes, as claimed, and what its region
// map calls them. No signature is looked at; whoever shows an answer judges the seal of the file it names.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/manifest.h"

namespace calseal {

struct BundleFacts {
  Manifest manifest;
  Sha256 digest;  // of the manifest: the revision's identity
  std::vector<Sha256> signers;
  std::vector<Change> changes;
  std::vector<std::string> items;           // names of the region map's items that a change touches
  std::vector<std::string> identity_kinds;  // of manifest.controller().identity, in its order
};

// Whether the file begins as a bundle does. kFileMissing, kFileUnreadable.
Result<bool> looks_like_bundle(const std::string& path);

// Prefix, manifest, framing, region map and changes.json with their digests; the reasons of these, and
// kClaimMismatch where the map's identity fields are others. Other contents are
// neither read nor believed: proving them is the checker's and the audit's work.
Result<BundleFacts> read_bundle_facts(const std::string& path);

}  // namespace calseal
