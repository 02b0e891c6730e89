#include "calseal/check/remember.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

Sha256 digest_of(const std::string& text) { return compute_sha256(view_of(text)); }

}  // namespace

Status compare_trust(const TrustChain& chain, const CheckerState& state, const std::string& name) {
  const RootState* root = state.find(compute_key_id(chain.trust.root));
  if (root == nullptr) return {};
  const auto old = [&](std::string found, std::string expected) {
    return fail({Reason::kTrustOld, name, "version", std::move(found), std::move(expected),
                 "use the shop's newest trust file; ask the shop if this is the newest"});
  };
  if (root->superseded) {
    return old("a root that was succeeded by another", "the trust file of the shop's present root");
  }
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

Status compare_withdrawals(const WithdrawalList& list, const CheckerState& state, const std::string& name) {
  const RootState* root = state.find(list.root);
  if (root == nullptr || list.number > root->withdrawal_number) return {};
  if (list.number == root->withdrawal_number && digest_of(write_withdrawal_text(list)) == root->withdrawals)
    return {};
  return fail({Reason::kWithdrawalsOld, name, "number", "list number " + std::to_string(list.number),
               "number " + std::to_string(root->withdrawal_number) + " as used before, or a newer one",
               "ask the shop for its newest list of withdrawals"});
}

void remember_trust(CheckerState& state, const TrustChain& chain, const WithdrawalList* list) {
  for (const Succession& step : chain.steps) {
    RootState& old = state.entry(compute_key_id(step.old_trust.root));
    old.superseded = true;
    if (step.old_trust.version < old.trust_version) continue;
    old.trust_version = step.old_trust.version;
    old.trust = digest_of(write_trust_text(step.old_trust));
  }
  RootState& root = state.entry(compute_key_id(chain.trust.root));
  root.trust_version = chain.trust.version;
  root.trust = digest_of(chain.text);
  if (list == nullptr || list->number <= root.withdrawal_number) return;
  root.withdrawal_number = list->number;
  root.withdrawals = digest_of(write_withdrawal_text(*list));
  root.withdrawn.clear();
  for (const WithdrawalNotice& notice : list->notices) root.withdrawn.push_back(notice.revision);
}

void remember_revision(CheckerState& state, const KeyId& root, const OpenedBundle& opened, UtcTime now) {
  state.last_time = std::max(state.last_time, time_text(now));
  const Manifest& manifest = opened.manifest;
  RootState& known = state.entry(root);
  const bool is_new = known.find(manifest.job, manifest.controller().name) == nullptr;
  JobState& job = known.entry(manifest.job, manifest.controller().name);
  if (is_new || manifest.base_number > job.base) {
    job.base = manifest.base_number;
    job.way_back.reset();
    job.way_back_sequence = 0;
  }
  if (manifest.revision == 0 && manifest.sequence >= job.way_back_sequence) {
    job.way_back = opened.digest;
    job.way_back_sequence = manifest.sequence;
  }
  if (!is_new && manifest.sequence <= job.sequence) return;
  job.sequence = manifest.sequence;
  job.revision = opened.digest;
  job.set = manifest.set;
  job.returns = manifest.permitted_returns;
}

}  // namespace calseal
