#include "calseal/check/remember.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/known.h"

namespace calseal {
namespace {

Sha256 digest_of(const WithdrawalList& list) { return compute_sha256(view_of(write_withdrawal_text(list))); }

const RememberedList* last_known(const WithdrawalList& list, const CheckerState& state,
                                 const TrustFile& trust) {
  const RootState* root = state.find(list.root);
  return root == nullptr ? nullptr : last_counting_list(*root, trust);
}

std::vector<Sha256> united(const std::vector<Sha256>& a, const std::vector<Sha256>& b) {
  std::vector<Sha256> all;
  std::ranges::set_union(a, b, std::back_inserter(all));
  return all;
}

// Takes out a list; what it named goes on as dropped by the list behind it.
void take_out(std::vector<RememberedList>& lists, std::size_t index) {
  const RememberedList out = std::move(lists[index]);
  lists.erase(lists.begin() + static_cast<std::ptrdiff_t>(index));
  RememberedList& behind = lists[index];
  const std::vector<Sha256> all = united(behind.dropped, united(out.notices, out.dropped));
  behind.dropped.clear();
  std::ranges::set_difference(all, behind.notices, std::back_inserter(behind.dropped));
}

AcceptedRevision accepted_of(const OpenedBundle& opened) {
  const std::vector<std::string>& roles = opened.manifest.required_roles;
  AcceptedRevision accepted;
  accepted.base = opened.manifest.base_number;
  accepted.sequence = opened.manifest.sequence;
  accepted.revision = opened.digest;
  accepted.map = opened.manifest.controller().map_digest;
  accepted.reviewed = std::ranges::find(roles, role_name(Role::kReviewer)) != roles.end();
  accepted.keys = opened.vouching.keys;
  return accepted;
}

// Puts a revision among those kept; the lowest gives way where there is no room.
void keep(std::vector<KeptRevision>& kept, KeptRevision revision) {
  if (std::ranges::any_of(kept, [&](const KeptRevision& one) { return covers(one, revision); })) return;
  std::erase_if(kept, [&](const KeptRevision& one) { return covers(revision, one); });
  kept.insert(std::ranges::upper_bound(kept, by_sequence(revision), {}, by_sequence), std::move(revision));
  if (kept.size() > kKeptRevisionLimit) kept.erase(kept.begin());
}

bool keep_way_back(std::vector<AcceptedRevision>& ways_back, AcceptedRevision revision) {
  const auto covered = [&](const AcceptedRevision& one) { return covers_way_back(one, revision); };
  if (std::ranges::any_of(ways_back, covered)) return true;
  std::erase_if(ways_back, [&](const AcceptedRevision& one) { return covers_way_back(revision, one); });
  if (ways_back.size() == kWayBackLimit) return false;
  ways_back.insert(std::ranges::upper_bound(ways_back, by_revision(revision), {}, by_revision),
                   std::move(revision));
  return true;
}

}  // namespace

Status compare_withdrawals(const WithdrawalList& list, const CheckerState& state, const TrustFile& trust,
                           const std::string& name) {
  const RememberedList* last = last_known(list, state, trust);
  if (last == nullptr || list.number > last->number) return {};
  if (list.number == last->number && digest_of(list) == last->list) return {};
  return fail({Reason::kWithdrawalsOld, name, "number", "list number " + std::to_string(list.number),
               "number " + std::to_string(last->number) + " as used before, or a newer one",
               "ask the shop for its newest list of withdrawals"});
}

bool is_newer(const WithdrawalList& list, const CheckerState& state, const TrustFile& trust) {
  const RememberedList* last = last_known(list, state, trust);
  return last == nullptr || list.number > last->number;
}

void learn_list(RootState& root, const WithdrawalList& list, const TrustFile& trust) {
  const RememberedList* last = last_counting_list(root, trust);
  if (last != nullptr && list.number <= last->number) return;
  RememberedList learned{list.number, digest_of(list), list.keys, {}, {}};
  for (const WithdrawalNotice& notice : list.notices) learned.notices.push_back(notice.revision);
  root.withdrawals.push_back(std::move(learned));
  for (std::size_t i = 0; i + 1 < root.withdrawals.size(); ++i) {
    if (root.withdrawals[i].keys != list.keys) continue;
    take_out(root.withdrawals, i);
    break;
  }
  if (root.withdrawals.size() > kStateListLimit) take_out(root.withdrawals, 0);
}

bool learn_revision(RootState& root, const OpenedBundle& opened) {
  const Manifest& manifest = opened.manifest;
  JobState& job = root.entry(manifest.job, manifest.controller().name);
  const AcceptedRevision accepted = accepted_of(opened);
  keep(job.revisions, {accepted, manifest.set, manifest.permitted_returns});
  return manifest.revision != 0 || keep_way_back(job.ways_back, accepted);
}

void drop_unused_maps(CheckerState& state) {
  const std::vector<Sha256> needed = maps_needed(state);
  std::erase_if(state.maps,
                [&](const Bytes& text) { return !std::ranges::binary_search(needed, compute_sha256(text)); });
}

bool keep_map(CheckerState& state, const RegionMap& map) {
  drop_unused_maps(state);
  const std::vector<Sha256> needed = maps_needed(state);
  const auto digest_of_text = [](const Bytes& text) { return compute_sha256(text); };
  if (!std::ranges::binary_search(needed, map.digest) || state.find_map(map.digest) != nullptr) return true;
  std::uint64_t size = map.text.size();
  for (const Bytes& text : state.maps) size += text.size();
  if (state.maps.size() == kStateMapLimit || size > kStateMapBytesLimit) return false;
  state.maps.insert(std::ranges::upper_bound(state.maps, map.digest, {}, digest_of_text), map.text);
  return true;
}

void learn_time(CheckerState& state, UtcTime now, std::string_view newest_signed, bool clock_is_right) {
  UtcTime seen = now;
  if (const auto newest = parse_time(newest_signed)) {
    seen = std::min(
        now, std::min(UtcTime{newest->seconds + kClockAheadLimit}, *parse_time("9999-12-31T23:59:59Z")));
  }
  const std::string text = time_text(seen);
  if (clock_is_right || state.last_time < text) state.last_time = text;
}

}  // namespace calseal
