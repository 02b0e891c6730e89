#include "calseal/check/stored.h"

#include "calseal/bundle/passing_file.h"

namespace calseal {
namespace {

Status open_into(StoredBundle& stored, ByteView beginning, const NextPiece& next, const std::string& name,
                 const OpenContext& context) {
  const TrustFile& trust = *context.trust;
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(beginning, name));
  CALSEAL_ASSIGN(const Signers signers, verify_prefix_signatures(prefix, trust, name));
  CALSEAL_ASSIGN(Manifest manifest, parse_manifest(prefix.manifest, name));
  stored.digest = compute_sha256(prefix.manifest);
  stored.seal_digest = compute_seal_digest(stored.digest, prefix.signatures);
  for (const PrefixSignature& signature : prefix.signatures) stored.signers.push_back(signature.key_id);
  stored.framing = compute_framing(prefix.manifest, prefix.signatures, manifest);
  stored.manifest = std::move(manifest);
  PassingFile passing(*stored.framing, *stored.manifest, name);
  passing.take(beginning);
  while (true) {
    CALSEAL_ASSIGN(const ByteView piece, next());
    if (piece.empty()) break;
    passing.take(piece);
  }
  CALSEAL_CHECK(passing.finish());
  Status judged = judge_trust(*stored.manifest, stored.digest, signers, trust, context.inclusion, name);
  if (!judged && judged.error().reason == Reason::kRolesMissing &&
      context.roles == RolesRule::kMayBeMissing) {
    stored.incomplete = true;
    judged = Status();
  }
  return judged;
}

}  // namespace

Sha256 compute_seal_digest(const Sha256& identity, const std::vector<PrefixSignature>& signatures) {
  Sha256Hasher hasher;
  hasher.update(identity.bytes);
  for (const PrefixSignature& signature : signatures) {
    hasher.update(signature.key_id.bytes);
    hasher.update(signature.signature);
  }
  return hasher.finish();
}

StoredBundle open_stored(ByteView beginning, const NextPiece& next, const std::string& name,
                         const OpenContext& context) {
  StoredBundle stored;
  if (Status status = open_into(stored, beginning, next, name, context); !status)
    stored.reason = std::move(status).error();
  return stored;
}

}  // namespace calseal
