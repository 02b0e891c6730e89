#include "calseal/trust/judge.h"

#include <algorithm>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"

namespace calseal {
namespace {

// Quoted everywhere, so that an error names both the key and its holder.
std::string key_text(const TrustedKey& key) {
  return printable(key.name, 60) + " (key " + digest_text(key.id) + ")";
}

template <typename Item>
bool allows(const std::vector<Item>& scope, const Item& item) {
  return scope.empty() || std::find(scope.begin(), scope.end(), item) != scope.end();
}

// What of the manifest lies outside the key's scope, or nothing.
std::optional<std::string> outside_scope(const TrustedKey& key, const Manifest& manifest) {
  if (!allows(key.jobs, manifest.job)) return "job " + manifest.job;
  for (const ManifestController& controller : manifest.controllers) {
    if (!allows(key.controllers, controller.name)) return "controller " + controller.name;
    if (!allows(key.region_maps, controller.map_digest)) return "region map " + controller.map_name;
  }
  return std::nullopt;
}

// Claimed times are compared as their texts are: 20 characters, ascending.
bool is_valid_at(const TrustedKey& key, const std::string& time) {
  return key.valid_from <= time && (key.valid_until.empty() || time < key.valid_until);
}

bool signs_revisions(const TrustedKey& key) {
  return key.has_role(Role::kAuthor) || key.has_role(Role::kReviewer);
}

std::optional<Role> find_role(std::string_view name) {
  if (name == role_name(Role::kAuthor)) return Role::kAuthor;
  if (name == role_name(Role::kReviewer)) return Role::kReviewer;
  return std::nullopt;
}

// Gives role `role` a signer, moving earlier ones on where that frees one (augmenting paths; at most 8
// signers).
bool give_signer(const std::vector<Role>& roles, const Signers& signers, std::size_t role,
                 std::vector<std::optional<std::size_t>>& serves, std::vector<bool>& tried) {
  for (std::size_t i = 0; i < signers.size(); ++i) {
    if (tried[i] || !signers[i]->has_role(roles[role])) continue;
    tried[i] = true;
    if (serves[i] && !give_signer(roles, signers, *serves[i], serves, tried)) continue;
    serves[i] = role;
    return true;
  }
  return false;
}

}  // namespace

bool roles_can_be_filled(const std::vector<Role>& roles, const Signers& signers) {
  std::vector<std::optional<std::size_t>> serves(signers.size());
  for (std::size_t role = 0; role < roles.size(); ++role) {
    std::vector<bool> tried(signers.size(), false);
    if (!give_signer(roles, signers, role, serves, tried)) return false;
  }
  return true;
}

Result<Signers> verify_prefix_signatures(const BundlePrefix& prefix, const TrustFile& trust,
                                         const std::string& name) {
  Signers signers;
  for (const PrefixSignature& signature : prefix.signatures) {
    const TrustedKey* const key = trust.find(signature.key_id);
    if (key == nullptr) {
      return fail(
          {Reason::kSignerUnknown, name, signature_entry_name(signature.key_id),
           "a key that the trust file does not list",
           "keys of " + printable(trust.shop, 80) + ", trust file version " + std::to_string(trust.version),
           "ask the shop for its newest trust file; if the key is not in it, do not use this bundle"});
    }
    signers.push_back(key);
  }
  for (std::size_t i = 0; i < signers.size(); ++i) {
    if (verify_signature(signers[i]->public_key, prefix.manifest, prefix.signatures[i].signature)) continue;
    return fail({Reason::kSignatureBad, name, signature_entry_name(signers[i]->id),
                 "a signature that does not verify",
                 "the signature of " + key_text(*signers[i]) + " over the manifest",
                 "do not use this bundle; ask its sender for a new copy"});
  }
  return signers;
}

Status judge_trust(const Manifest& manifest, const Signers& signers, const TrustFile& trust,
                   const std::string& name) {
  for (const TrustedKey* key : signers) {
    if (!key->compromised) continue;
    return fail({Reason::kKeyCompromised, name, signature_entry_name(key->id),
                 key_text(*key) + ", compromised", "active keys only",
                 "do not use this bundle; ask the shop for one with a new signature"});
  }
  for (const TrustedKey* key : signers) {
    const auto outside = outside_scope(*key, manifest);
    if (!outside) continue;
    return fail({Reason::kKeyScope, name, signature_entry_name(key->id), *outside,
                 "what " + key_text(*key) + " may sign", "ask the shop for a bundle signed by a key for it"});
  }
  for (const TrustedKey* key : signers) {
    if (is_valid_at(*key, manifest.claimed_time)) continue;
    return fail({Reason::kKeyValidity, name, signature_entry_name(key->id),
                 "claimed time " + manifest.claimed_time,
                 "from " + key->valid_from + (key->valid_until.empty() ? "" : ", before " + key->valid_until),
                 "ask the shop for its newest trust file or for a bundle signed by a valid key"});
  }
  std::vector<Role> roles;
  std::string wanted;
  for (const std::string& required : manifest.required_roles) {
    const auto role = find_role(required);
    if (role) roles.push_back(*role);
    wanted += (wanted.empty() ? "" : " and ") + required;
  }
  const auto able = static_cast<std::uint64_t>(std::count_if(
      signers.begin(), signers.end(), [](const TrustedKey* key) { return signs_revisions(*key); }));
  if (roles_can_be_filled(roles, signers) && able >= trust.threshold) return {};
  std::string found;
  for (const TrustedKey* key : signers) {
    found += (found.empty() ? "" : "; ") + printable(key->name, 60) + ":";
    for (const Role role : key->roles) found += " " + std::string(role_name(role));
  }
  return fail({Reason::kRolesMissing, name, "signatures", found.empty() ? "no signer" : found,
               wanted + ", each by a key of its own, and at least " + std::to_string(trust.threshold) +
                   " signatures by authors or reviewers",
               "ask the shop for the missing signature"});
}

}  // namespace calseal
