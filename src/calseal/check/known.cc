#include "calseal/check/known.h"

#include <algorithm>
#include <tuple>

#include "calseal/trust/judge.h"

namespace calseal {
namespace {

bool is_compromised(const KeyId& id, const TrustFile& trust) {
  const TrustedKey* key = trust.find(id);
  return key != nullptr && key->compromised;
}

// What a key may have been that the trust file does not list: nobody has called it stolen.
const TrustedKey& unlisted_key() {
  static const TrustedKey key = [] {
    TrustedKey made;
    made.roles = {Role::kAuthor, Role::kReviewer};
    return made;
  }();
  return key;
}

bool is_higher(const AcceptedRevision& a, const AcceptedRevision& b) {
  return std::tie(a.sequence, a.revision) > std::tie(b.sequence, b.revision);
}

void gather(std::vector<Sha256>& withdrawn, const std::vector<Sha256>& more) {
  withdrawn.insert(withdrawn.end(), more.begin(), more.end());
}

// What lists of this root keep in force; whether one of them counts.
bool gather_lists(const RootState& root, const TrustFile& trust, std::vector<Sha256>& withdrawn) {
  for (auto list = root.withdrawals.rbegin(); list != root.withdrawals.rend(); ++list) {
    gather(withdrawn, list->notices);
    if (counts(*list, trust)) return true;
    gather(withdrawn, list->dropped);
  }
  return false;
}

}  // namespace

std::vector<const RootState*> speaking_roots(const CheckerState& state, const KeyId& root) {
  std::vector<const RootState*> roots;
  if (const RootState* own = state.find(root)) roots.push_back(own);
  std::vector<KeyId> reached = {root};
  for (std::size_t i = 0; i < reached.size(); ++i) {
    for (const RootState& other : state.roots) {
      if (other.next != reached[i] || std::ranges::find(reached, other.root) != reached.end()) continue;
      reached.push_back(other.root);
      roots.push_back(&other);
    }
  }
  return roots;
}

std::vector<const JobState*> known_jobs(const CheckerState& state, const TrustFile& trust,
                                        std::string_view job, std::string_view controller) {
  std::vector<const JobState*> jobs;
  for (const RootState* root : speaking_roots(state, compute_key_id(trust.root))) {
    if (const JobState* found = root->find(job, controller)) jobs.push_back(found);
  }
  return jobs;
}

bool counts(const AcceptedRevision& accepted, const TrustFile& trust) {
  Signers others;
  for (const KeyId& id : accepted.keys) {
    if (is_compromised(id, trust)) continue;
    const TrustedKey* key = trust.find(id);
    others.push_back(key == nullptr ? &unlisted_key() : key);
  }
  if (others.size() == accepted.keys.size()) return true;
  std::vector<Role> roles = {Role::kAuthor};
  if (accepted.reviewed) roles.push_back(Role::kReviewer);
  return are_enough(roles, others, trust.threshold);
}

bool counts(const RememberedList& list, const TrustFile& trust) {
  return !std::ranges::all_of(list.keys, [&](const KeyId& id) { return is_compromised(id, trust); });
}

const KeptRevision* newest_accepted(const std::vector<const JobState*>& jobs, const TrustFile& trust) {
  const KeptRevision* newest = nullptr;
  for (const JobState* job : jobs) {
    for (const KeptRevision& kept : job->revisions) {
      if (!counts(kept, trust)) continue;
      if (newest == nullptr || is_higher(kept, *newest)) newest = &kept;
    }
  }
  return newest;
}

std::optional<Sha256> known_map(const std::vector<const JobState*>& jobs, const TrustFile& trust) {
  if (const KeptRevision* newest = newest_accepted(jobs, trust)) return newest->map;
  const AcceptedRevision* highest = nullptr;
  for (const JobState* job : jobs) {
    for (const AcceptedRevision& way_back : job->ways_back) {
      if (counts(way_back, trust) && (highest == nullptr || is_higher(way_back, *highest)))
        highest = &way_back;
    }
  }
  if (highest == nullptr) return std::nullopt;
  return highest->map;
}

bool accepted_way_back(const std::vector<const JobState*>& jobs, const Sha256& digest) {
  return std::ranges::any_of(jobs, [&](const JobState* job) {
    return std::ranges::find(job->ways_back, digest, &AcceptedRevision::revision) != job->ways_back.end();
  });
}

const RememberedList* last_counting_list(const RootState& root, const TrustFile& trust) {
  for (auto list = root.withdrawals.rbegin(); list != root.withdrawals.rend(); ++list) {
    if (counts(*list, trust)) return &*list;
  }
  return nullptr;
}

std::vector<Sha256> withdrawn_in_force(const CheckerState& state, const TrustFile& trust) {
  std::vector<Sha256> withdrawn;
  std::vector<KeyId> reached = {compute_key_id(trust.root)};
  for (std::size_t i = 0; i < reached.size(); ++i) {
    const RootState* root = state.find(reached[i]);
    if (root != nullptr && gather_lists(*root, trust, withdrawn)) continue;
    for (const RootState& other : state.roots) {
      if (other.next == reached[i] && std::ranges::find(reached, other.root) == reached.end())
        reached.push_back(other.root);
    }
  }
  std::ranges::sort(withdrawn);
  withdrawn.erase(std::unique(withdrawn.begin(), withdrawn.end()), withdrawn.end());
  return withdrawn;
}

}  // namespace calseal
