#include "calseal/sign/countersign.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/open.h"
#include "calseal/sign/bundle_write.h"
#include "calseal/trust/judge.h"

namespace calseal {
namespace {

// The keys as the trust file lists them.
Result<Signers> find_signers(const SigningKeys& keys, const TrustFile& trust) {
  Signers signers;
  for (const PrivateKey& key : keys) {
    const std::string place = "key " + digest_text(key.id());
    const TrustedKey* const listed = trust.find(key.id());
    if (listed == nullptr) {
      return fail({Reason::kSignerUnknown, "", place, "a key that the trust file does not list",
                   "a key of the trust file", "add it first (calseal shop add-key)"});
    }
    if (listed->compromised) {
      return fail({Reason::kKeyCompromised, "", place, "a compromised key", "active keys only",
                   "sign with another key"});
    }
    if (!listed->has_role(Role::kAuthor) && !listed->has_role(Role::kReviewer)) {
      return fail({Reason::kRolesMissing, "", place, signers_text({listed}), "an author or a reviewer",
                   "sign with another key"});
    }
    signers.push_back(listed);
  }
  return signers;
}

Status check_room(const BundlePrefix& prefix, const SigningKeys& keys, const std::string& name) {
  for (const PrivateKey& key : keys) {
    const auto same = [&](const PrefixSignature& one) { return one.key_id == key.id(); };
    if (std::any_of(prefix.signatures.begin(), prefix.signatures.end(), same)) {
      return fail({Reason::kUsage, name, signature_entry_name(key.id()), "a signature by this key already",
                   "keys that have not signed it", "leave this key out"});
    }
  }
  const std::size_t count = prefix.signatures.size() + keys.size();
  if (count <= kSignatureLimit) return {};
  return fail({Reason::kUsage, name, "signatures", std::to_string(count) + " signatures",
               "at most " + std::to_string(kSignatureLimit), "sign with fewer keys"});
}

// Roles and threshold are for all signers together, and are judged when the whole is opened.
Status check_own(const Manifest& manifest, const Sha256& digest, const Signers& signers,
                 const TrustFile& trust, const std::string& name) {
  Status judged = judge_trust(manifest, digest, signers, trust, nullptr, name);
  if (!judged && judged.error().reason == Reason::kRolesMissing) return {};
  return judged;
}

}  // namespace

Result<CounterSignedBundle> countersign(const Bytes& bundle, const std::string& name, const SigningKeys& keys,
                                        const TrustFile& trust) {
  CALSEAL_CHECK(check_signing_keys(keys));
  CALSEAL_ASSIGN(const Signers own, find_signers(keys, trust));
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(bundle, name));
  CALSEAL_CHECK(verify_prefix_signatures(prefix, trust, name));
  CounterSignedBundle out;
  CALSEAL_ASSIGN(out.manifest, parse_manifest(prefix.manifest, name));
  out.digest = compute_sha256(prefix.manifest);
  CALSEAL_ASSIGN(const Framing framing, verify_framing(bundle, prefix, out.manifest, name));
  CALSEAL_CHECK(verify_stored_digests(bundle, framing, out.manifest, name));
  CALSEAL_CHECK(check_room(prefix, keys, name));
  CALSEAL_CHECK(check_own(out.manifest, out.digest, own, trust, name));

  std::vector<PrefixSignature> signatures = prefix.signatures;
  for (const PrivateKey& key : keys) {
    CALSEAL_ASSIGN(const PrefixSignature signature, key.sign(prefix.manifest));
    signatures.push_back(signature);
  }
  std::vector<ByteView> stored;
  for (std::size_t i = 0; i < out.manifest.entries.size(); ++i)
    stored.push_back(stored_bytes(bundle, framing, i));
  CALSEAL_ASSIGN(out.file, write_bundle(out.manifest, std::move(signatures), stored));

  // Order in time and the clock are not asked: a trial that is over may be counter-signed.
  OpenContext context;
  context.trust = &trust;
  context.roles = RolesRule::kMayBeMissing;
  std::vector<Step> steps = all_steps();
  Result<OpenedBundle> opened = open_sealed(out.file, name, context, steps);
  if (!opened && opened.error().reason == Reason::kKeyCompromised) {
    // Further signatures can still outweigh the compromised key; all else must hold now.
    opened = open_unverified(out.file, name);
    if (opened) opened->incomplete = true;
  }
  if (!opened) return fail(std::move(opened).error());
  out.incomplete = opened->incomplete;
  CALSEAL_ASSIGN(const BundlePrefix now, read_prefix(out.file, name));
  CALSEAL_ASSIGN(const Signers all, verify_prefix_signatures(now, trust, name));
  for (const TrustedKey* key : all) out.signers.push_back(key->name);
  return out;
}

}  // namespace calseal
