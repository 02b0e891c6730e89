#include "calseal/check/roots.h"

#include <algorithm>
#include <set>

#include "calseal/check/known.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

Sha256 digest_of(std::string_view text) { return compute_sha256(view_of(text)); }

std::vector<KeyId> root_ids(const TrustChain& chain) {
  std::vector<KeyId> ids;
  for (const PublicKey& root : chain.roots()) ids.push_back(compute_key_id(root));
  return ids;
}

bool knows_any(const CheckerState& state, const std::vector<KeyId>& ids) {
  return std::ranges::any_of(ids, [&](const KeyId& id) { return state.find(id) != nullptr; });
}

// Which root of the chain the person was told; nothing where none was stated.
std::optional<std::size_t> stated_index(const TrustChain& chain, std::string_view stated_root) {
  if (stated_root.empty()) return std::nullopt;
  const std::vector<PublicKey> roots = chain.roots();
  for (std::size_t i = 0; i < roots.size(); ++i) {
    if (check_stated_root({roots[i]}, stated_root, {})) return i;
  }
  return std::nullopt;
}

Status check_related(const std::vector<KeyId>& ids, const CheckerState& state, bool stated,
                     const std::string& name) {
  if (state.roots.empty() || stated || knows_any(state, ids)) return {};
  return fail({Reason::kRootUnrelated, name, "root", spoken_code(Spoken::kKey, ids.back()),
               "a root that the state knows, one that followed it, or one that was stated",
               "ask the shop for its fingerprint by telephone or in person, and state it (--root); names of "
               "jobs prove nothing"});
}

// Takes out what was learned under another successor, up to a root that the chain names.
void drop_branch(CheckerState& state, KeyId at, const std::vector<KeyId>& chain) {
  while (std::ranges::find(chain, at) == chain.end()) {
    const RootState* root = state.find(at);
    if (root == nullptr) return;
    const std::optional<KeyId> next = root->next;
    std::erase_if(state.roots, [&](const RootState& one) { return one.root == at; });
    if (!next) return;
    at = *next;
  }
}

// One step of the chain, from ids[index] to ids[index + 1].
Status follow_step(const std::vector<KeyId>& ids, std::size_t index, std::optional<std::size_t> stated,
                   CheckerState& state, const std::string& name) {
  const RootState* old = state.find(ids[index]);
  if (old == nullptr || !old->next || *old->next == ids[index + 1]) return {};
  if (!stated || *stated <= index) {
    return fail({Reason::kSuccessionFork, name, "successor of " + spoken_code(Spoken::kKey, ids[index]),
                 spoken_code(Spoken::kKey, ids[index + 1]),
                 spoken_code(Spoken::kKey, *old->next) + ", as seen before",
                 "believe neither; ask the shop, by telephone or in person, which of the two is its own, and "
                 "state that one (--root)"});
  }
  drop_branch(state, *old->next, ids);
  return {};
}

Status check_version(const TrustChain& chain, const CheckerState& state, const std::string& name) {
  const RootState* root = state.find(compute_key_id(chain.trust.root));
  if (root == nullptr) return {};
  const auto old = [&](std::string found, std::string expected) {
    return fail({Reason::kTrustOld, name, "version", std::move(found), std::move(expected),
                 "use the shop's newest trust file; ask the shop if this is the newest"});
  };
  if (root->next)
    return old("a root that was succeeded by another",
               "the trust file of " + spoken_code(Spoken::kKey, *root->next));
  if (chain.trust.version < root->trust_version) {
    return old("version " + std::to_string(chain.trust.version),
               "version " + std::to_string(root->trust_version) + " or newer, as used before");
  }
  if (chain.trust.version == root->trust_version && digest_of(chain.text) != root->trust) {
    return old("another file with version " + std::to_string(chain.trust.version),
               "the one used before, SHA-256 of its first line " + digest_text(root->trust));
  }
  return {};
}

// The state makes an entry of version 1 with no trust file seen; the first one is always noted.
RootState& learn_root(CheckerState& state, const KeyId& id, const TrustFile& trust, std::string_view text) {
  if (state.find(id) == nullptr) state.entry(id).trust_version = 0;
  RootState& root = state.entry(id);
  learn_trust(root, trust, text);
  return root;
}

void add_compromised(std::set<KeyId>& ids, const TrustFile& trust) {
  for (const TrustedKey& key : trust.keys) {
    if (key.compromised) ids.insert(key.id);
  }
}

}  // namespace

void learn_trust(RootState& root, const TrustFile& trust, std::string_view text) {
  if (trust.version > root.trust_version) {
    root.trust_version = trust.version;
    root.trust = digest_of(text);
  }
  std::set<KeyId> compromised(root.compromised.begin(), root.compromised.end());
  add_compromised(compromised, trust);
  root.compromised.assign(compromised.begin(), compromised.end());
}

Result<CheckerState> follow_chain(const TrustChain& chain, const CheckerState& state,
                                  std::string_view stated_root, const std::string& name) {
  const std::vector<KeyId> ids = root_ids(chain);
  const std::optional<std::size_t> stated = stated_index(chain, stated_root);
  CALSEAL_CHECK(check_related(ids, state, stated.has_value(), name));
  CheckerState followed = state;
  for (std::size_t i = 0; i < chain.steps.size(); ++i)
    CALSEAL_CHECK(follow_step(ids, i, stated, followed, name));
  CALSEAL_CHECK(check_version(chain, followed, name));
  for (std::size_t i = 0; i < chain.steps.size(); ++i) {
    const Succession& step = chain.steps[i];
    learn_root(followed, ids[i], step.old_trust, write_trust_text(step.old_trust)).next = ids[i + 1];
  }
  learn_root(followed, ids.back(), chain.trust, chain.text);
  return followed;
}

Status check_compromised(const TrustChain& chain, const CheckerState& state, const std::string& name) {
  std::set<KeyId> ids;
  for (const Succession& step : chain.steps) add_compromised(ids, step.old_trust);
  for (const RootState* root : speaking_roots(state, compute_key_id(chain.trust.root)))
    ids.insert(root->compromised.begin(), root->compromised.end());
  for (const KeyId& id : ids) {
    const TrustedKey* key = chain.trust.find(id);
    if (key != nullptr && key->compromised) continue;
    return fail({Reason::kKeyReinstated, name, "key " + digest_text(id),
                 key == nullptr ? "not listed" : "active", "compromised, as an earlier trust file called it",
                 "do not use this trust file; ask the shop for one that goes on listing this key as "
                 "compromised"});
  }
  return {};
}

RootState* root_of_look(CheckerState& state, const TrustChain& chain, std::string_view stated_root) {
  const std::vector<KeyId> ids = root_ids(chain);
  const bool first_stated = !knows_any(state, ids) && stated_index(chain, stated_root);
  if (state.find(ids.back()) == nullptr && !first_stated) return nullptr;
  return &learn_root(state, ids.back(), chain.trust, chain.text);
}

}  // namespace calseal
