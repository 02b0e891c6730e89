#include "calseal/sign/trust_change.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

tl::unexpected<Error> trust_usage(std::string place, std::string found, std::string expected,
                                  std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

Result<TrustedKey*> find_key(TrustFile& trust, const KeyId& id) {
  const auto it = std::ranges::find(trust.keys, id, &TrustedKey::id);
  if (it != trust.keys.end()) return &*it;
  return trust_usage("key " + digest_text(id), "no such key", "a key of this trust file",
                     "see calseal shop show for its keys");
}

template <typename List>
void put_in_order(List& list) {
  std::ranges::sort(list);
  list.erase(std::unique(list.begin(), list.end()), list.end());
}

}  // namespace

Status begin_version(TrustFile& trust, const std::string& claimed_time) {
  if (claimed_time < trust.claimed_time) {
    return trust_usage("claimed time", claimed_time,
                       "not before " + trust.claimed_time + " of version " + std::to_string(trust.version),
                       "set the clock, or state the right time");
  }
  ++trust.version;
  trust.claimed_time = claimed_time;
  return {};
}

Status add_key(TrustFile& trust, TrustedKey key) {
  key.id = compute_key_id(key.public_key);
  const std::string place = "key " + digest_text(key.id);
  if (key.public_key == trust.root || trust.next_root == key.id) {
    return trust_usage(place, "a root", "a signing key: a root signs trust files and nothing else",
                       "make another key with calseal key new");
  }
  if (trust.find(key.id) != nullptr)
    return trust_usage(place, "in the trust file already", "a new key",
                       "make another key with calseal key new");
  if (key.has_role(Role::kWithdrawal) && !(key.jobs.empty() && key.controllers.empty())) {
    return trust_usage(place, "a withdrawal key for some jobs or controllers",
                       "one for all: a list of withdrawals is whole", "use a key of its own for withdrawals");
  }
  if (key.has_role(Role::kSheet) && !(key.jobs.empty() && key.controllers.empty())) {
    return trust_usage(place, "a sheet key for some jobs or controllers",
                       "one for all: a sheet is for every customer", "use a key of its own for sheets");
  }
  if (trust.keys.size() >= kTrustKeyLimit) {
    return trust_usage(place, std::to_string(trust.keys.size()) + " keys",
                       "at most " + std::to_string(kTrustKeyLimit), "ask for a new root with fewer keys");
  }
  put_in_order(key.roles);
  put_in_order(key.jobs);
  put_in_order(key.controllers);
  put_in_order(key.region_maps);
  trust.keys.push_back(std::move(key));
  std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  return {};
}

Status retire_key(TrustFile& trust, const KeyId& id, const std::string& valid_until) {
  CALSEAL_ASSIGN(TrustedKey* const key, find_key(trust, id));
  const std::string place = "key " + digest_text(id);
  if (key->compromised)
    return trust_usage(place, "a compromised key", "an active key", "nothing is left to be retired");
  if (valid_until <= key->valid_from) {
    return trust_usage(place, "an end at " + valid_until, "one after its beginning, " + key->valid_from,
                       "state a later time");
  }
  if (!key->valid_until.empty() && key->valid_until <= valid_until) {
    return trust_usage(place, "an end at " + valid_until,
                       "one before " + key->valid_until + ", when it ends already",
                       "add a new key instead of stretching an old one");
  }
  key->valid_until = valid_until;
  return {};
}

Status compromise_key(TrustFile& trust, const KeyId& id) {
  CALSEAL_ASSIGN(TrustedKey* const key, find_key(trust, id));
  if (key->compromised) {
    return trust_usage("key " + digest_text(id), "compromised already", "an active key",
                       "see calseal shop show for its keys");
  }
  key->compromised = true;
  return {};
}

Status set_threshold(TrustFile& trust, std::uint64_t threshold) {
  const auto able = static_cast<std::uint64_t>(std::ranges::count_if(trust.keys, [](const TrustedKey& key) {
    return !key.compromised && (key.has_role(Role::kAuthor) || key.has_role(Role::kReviewer));
  }));
  if (threshold >= 1 && threshold <= kThresholdLimit && threshold <= able) {
    trust.threshold = threshold;
    return {};
  }
  return trust_usage("threshold", std::to_string(threshold),
                     "from 1 to " + std::to_string(kThresholdLimit) + ", and at most " +
                         std::to_string(able) + ", the number of active authors and reviewers",
                     "add keys first, or choose a smaller number");
}

Status announce_root(TrustFile& trust, const KeyId& next_root) {
  const std::string place = "root " + digest_text(next_root);
  if (next_root == compute_key_id(trust.root))
    return trust_usage(place, "the root itself", "another key", "make one with calseal key new");
  if (trust.find(next_root) != nullptr) {
    return trust_usage(place, "a signing key", "a key that signs nothing yet",
                       "make one with calseal key new");
  }
  trust.next_root = next_root;
  return {};
}

Status pin_head(TrustFile& trust, const TreeHead& head) {
  const std::string place = "head of " + grouped(head.size) + " entries";
  for (const TreeHead& pinned : trust.ledger_heads) {
    if (pinned.size != head.size) continue;
    if (pinned == head) return trust_usage(place, "pinned already", "a new head", "nothing is left to do");
    return trust_usage(place, digest_text(head.root_hash),
                       "the pinned one of this size, " + digest_text(pinned.root_hash),
                       "find out which of two ledgers is the shop's before anything else");
  }
  if (trust.ledger_heads.size() >= kLedgerHeadLimit) {
    return trust_usage(place, std::to_string(kLedgerHeadLimit) + " heads", "fewer",
                       "hand over to a new root, with the newest heads alone");
  }
  trust.ledger_heads.push_back(head);
  std::ranges::sort(trust.ledger_heads, {}, &TreeHead::size);
  return {};
}

TrustFile trust_under_new_root(const TrustFile& old_trust, const PublicKey& new_root,
                               const std::string& claimed_time) {
  TrustFile trust = old_trust;
  trust.version = 1;
  trust.root = new_root;
  trust.claimed_time = claimed_time;
  trust.next_root.reset();
  return trust;
}

}  // namespace calseal
