#include "calseal/trust/judge.h"

#include <algorithm>
#include <optional>

#include "calseal/trust/approval.h"

namespace calseal {
namespace {

// The approvals of a manifest, judged when a key's scope first asks for them.
class AskedApprovals {
 public:
  AskedApprovals(const Manifest& manifest, const TrustFile& trust) : manifest_(manifest), trust_(trust) {}

  // Whether they lead from a map that the key may seal with to the manifest's.
  bool lead_from(const std::vector<Sha256>& maps) {
    const ManifestController& controller = manifest_.controller();
    if (!approvals_) approvals_ = judge_approvals(manifest_.approvals, controller.name, trust_);
    return std::ranges::any_of(maps, [&](const Sha256& map) {
      return approvals_lead(approvals_->counting, map, controller.map_digest).has_value();
    });
  }
  // Why those do not count that do not; empty where all do.
  std::string others() const {
    std::string text;
    if (approvals_) {
      for (const std::string& why : approvals_->others) text += "; " + why;
    }
    return text;
  }

 private:
  const Manifest& manifest_;
  const TrustFile& trust_;
  std::optional<Approvals> approvals_;
};

// What of the manifest lies outside the key's scope, or nothing.
std::optional<std::string> outside_scope(const TrustedKey& key, const Manifest& manifest,
                                         AskedApprovals& approvals) {
  if (!allows(key.jobs, manifest.job)) return "job " + manifest.job;
  for (const ManifestController& controller : manifest.controllers) {
    if (!allows(key.controllers, controller.name)) return "controller " + controller.name;
    if (!allows(key.region_maps, controller.map_digest) && !approvals.lead_from(key.region_maps))
      return "region map " + controller.map_name + approvals.others();
  }
  return std::nullopt;
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

bool suffice(const Manifest& manifest, const Signers& signers, const TrustFile& trust) {
  std::vector<Role> roles;
  for (const std::string& required : manifest.required_roles) {
    if (const auto role = find_role(required)) roles.push_back(*role);
  }
  return are_enough(roles, signers, trust.threshold);
}

struct Counted {
  Signers signers;
  bool by_ledger = false;
};

// The signers that count: all of them, or, beside a compromised one, those that need it not.
Result<Counted> judge_states(const Manifest& manifest, const Sha256& manifest_digest, const Signers& signers,
                             const TrustFile& trust, const InclusionProof* proof, const std::string& name) {
  Signers active;
  const TrustedKey* compromised = nullptr;
  for (const TrustedKey* key : signers) {
    if (!key->compromised) active.push_back(key);
    if (key->compromised && compromised == nullptr) compromised = key;
  }
  if (compromised == nullptr) return Counted{signers, false};
  Status shown;
  if (proof != nullptr) {
    shown = check_inclusion(*proof, manifest_digest, trust.ledger_heads, name);
    if (shown) return Counted{signers, true};
  }
  if (suffice(manifest, active, trust)) return Counted{std::move(active), false};
  if (!shown) return fail(std::move(shown).error());
  return refuse_compromised(
      *compromised, signature_entry_name, name,
      "do not use this bundle; ask the shop for one with a new signature, or for the proof that it is older");
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
  return verify_signers(prefix.manifest, prefix.signatures, trust, signature_entry_name, name);
}

bool are_enough(const std::vector<Role>& roles, const Signers& signers, std::uint64_t threshold) {
  const auto able = static_cast<std::uint64_t>(std::count_if(
      signers.begin(), signers.end(), [](const TrustedKey* key) { return signs_revisions(*key); }));
  return roles_can_be_filled(roles, signers) && able >= threshold;
}

Result<Vouching> vouch_for(const Manifest& manifest, const Sha256& manifest_digest, const Signers& signers,
                           const TrustFile& trust, const InclusionProof* proof, const std::string& name) {
  CALSEAL_ASSIGN(const Counted found, judge_states(manifest, manifest_digest, signers, trust, proof, name));
  const Signers& counted = found.signers;
  AskedApprovals approvals(manifest, trust);
  for (const TrustedKey* key : counted) {
    if (auto outside = outside_scope(*key, manifest, approvals))
      return refuse_scope(*key, *std::move(outside), signature_entry_name, name);
  }
  CALSEAL_CHECK(check_validity(counted, manifest.claimed_time, signature_entry_name, name));
  if (suffice(manifest, counted, trust)) {
    Vouching vouching{{}, found.by_ledger};
    if (found.by_ledger) return vouching;
    for (const TrustedKey* key : counted) vouching.keys.push_back(key->id);
    return vouching;
  }
  std::string wanted;
  for (const std::string& required : manifest.required_roles)
    wanted += (wanted.empty() ? "" : " and ") + required;
  return fail({Reason::kRolesMissing, name, "signatures", signers_text(counted),
               wanted + ", each by a key of its own, and at least " + std::to_string(trust.threshold) +
                   " signatures by authors or reviewers",
               "ask the shop for the missing signature"});
}

Status judge_trust(const Manifest& manifest, const Sha256& manifest_digest, const Signers& signers,
                   const TrustFile& trust, const InclusionProof* proof, const std::string& name) {
  CALSEAL_CHECK(vouch_for(manifest, manifest_digest, signers, trust, proof, name));
  return {};
}

}  // namespace calseal
