#include "calseal/check/state.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/map/region_map.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {
namespace {

tl::unexpected<Error> damaged(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kStateDamaged, name, std::move(place), std::move(found), std::move(expected),
               "put the file aside; a new state begins with the next bundle that is accepted"});
}

void accepted_fields(Fields& field, AcceptedRevision& accepted) {
  field("base", accepted.base, Integer{1, kBaseLimit});
  field("sequence", accepted.sequence, Integer{1, kSequenceLimit});
  field("revision", accepted.revision, kDigest);
  field("map", accepted.map, kDigest);
  field("reviewed", accepted.reviewed, kBoolean);
  field("keys", accepted.keys, List{kDigest, kSignatureLimit});
}

void kept_fields(Fields& field, KeptRevision& kept) {
  accepted_fields(field, kept);
  field("set", kept.set, kMaybeDigest);
  field("returns", kept.returns, List{kDigest, kReturnLimit});
}

void job_fields(Fields& field, JobState& job) {
  field("job", job.job, kName);
  field("controller", job.controller, kName);
  field("revisions", job.revisions, List{Record{kept_fields}, kKeptRevisionLimit});
  field("ways_back", job.ways_back, List{Record{accepted_fields}, kWayBackLimit});
}

void list_fields(Fields& field, RememberedList& list) {
  field("number", list.number, Integer{1});
  field("list", list.list, kDigest);
  field("keys", list.keys, List{kDigest, kSignatureLimit});
  field("notices", list.notices, List{kDigest, kNoticeLimit});
  field("dropped", list.dropped, List{kDigest, kStateDroppedLimit});
}

void root_fields(Fields& field, RootState& root) {
  field("root", root.root, kDigest);
  field("next", root.next, kMaybeDigest);
  field("trust_version", root.trust_version, Integer{1});
  field("trust", root.trust, kDigest);
  field("compromised", root.compromised, List{kDigest, kStateCompromisedLimit});
  field("withdrawals", root.withdrawals, List{Record{list_fields}, kStateListLimit});
  field("jobs", root.jobs, List{Record{job_fields}, kStateJobLimit});
}

// A region map's file, as it is.
struct MapText {
  void read(const JsonNode& node, Bytes& map) const {
    const std::string text = node.text(kRegionMapSizeLimit);
    map.assign(text.begin(), text.end());
  }
  void write(JsonText& text, const Bytes& map) const { text.value(text_of(map)); }
  void describe(JsonText& schema) const { Text{kRegionMapSizeLimit}.describe(schema); }
};

template <typename List, typename Key>
bool is_ascending(const List& list, Key key) {
  return std::ranges::adjacent_find(list, [&](const auto& a, const auto& b) { return !(key(a) < key(b)); }) ==
         list.end();
}

bool is_ascending_set(const std::vector<Sha256>& digests) {
  return is_ascending(digests, [](const Sha256& digest) { return digest; });
}

template <typename Accepted, typename Covered>
bool none_covers(const std::vector<Accepted>& list, Covered covered) {
  return std::ranges::all_of(list, [&](const Accepted& a) {
    return is_ascending_set(a.keys) &&
           std::ranges::none_of(list, [&](const Accepted& b) { return &a != &b && covered(a, b); });
  });
}

bool is_consistent(const JobState& job) {
  return !(job.revisions.empty() && job.ways_back.empty()) && is_ascending(job.revisions, by_sequence) &&
         is_ascending(job.ways_back, by_revision) && none_covers(job.revisions, covers) &&
         none_covers(job.ways_back, covers_way_back) &&
         std::ranges::all_of(job.revisions,
                             [](const KeptRevision& r) { return is_ascending_set(r.returns); });
}

bool is_consistent(const RememberedList& list) {
  return !list.keys.empty() && is_ascending_set(list.keys) && is_ascending_set(list.notices) &&
         is_ascending_set(list.dropped) && std::ranges::none_of(list.dropped, [&](const Sha256& digest) {
           return std::ranges::binary_search(list.notices, digest);
         });
}

// One list for each set of keys.
bool is_consistent(const RootState& root) {
  for (std::size_t i = 0; i < root.withdrawals.size(); ++i) {
    if (!is_consistent(root.withdrawals[i])) return false;
    for (std::size_t j = 0; j < i; ++j) {
      if (root.withdrawals[i].keys == root.withdrawals[j].keys) return false;
    }
  }
  return is_ascending_set(root.compromised) && root.next != root.root &&
         is_ascending(root.jobs, [](const JobState& j) { return std::pair(j.job, j.controller); }) &&
         std::ranges::all_of(root.jobs, [](const JobState& job) { return is_consistent(job); });
}

// Each is the map of some revision or way back, and all together are not too large.
bool has_consistent_maps(const CheckerState& state) {
  std::vector<Sha256> digests;
  std::uint64_t size = 0;
  for (const Bytes& map : state.maps) {
    digests.push_back(compute_sha256(map));
    size += map.size();
  }
  if (size > kStateMapBytesLimit || !is_ascending_set(digests)) return false;
  const std::vector<Sha256> needed = maps_needed(state);
  return std::ranges::includes(needed, digests);
}

bool is_consistent(const CheckerState& state) {
  return has_consistent_maps(state) && is_ascending(state.roots, [](const RootState& r) { return r.root; }) &&
         std::ranges::all_of(state.roots, [](const RootState& root) { return is_consistent(root); });
}

}  // namespace

bool covers(const AcceptedRevision& a, const AcceptedRevision& b) {
  if (a.sequence < b.sequence || a.base < b.base) return false;
  if (a.keys.empty()) return true;
  return a.keys == b.keys && (!a.reviewed || b.reviewed);
}

bool covers_way_back(const AcceptedRevision& a, const AcceptedRevision& b) {
  return a.revision == b.revision && covers(a, b);
}

const JobState* RootState::find(std::string_view job, std::string_view controller) const {
  const auto it = std::ranges::find_if(
      jobs, [&](const JobState& j) { return j.job == job && j.controller == controller; });
  return it == jobs.end() ? nullptr : &*it;
}

const RootState* CheckerState::find(const KeyId& root) const {
  const auto it = std::ranges::find(roots, root, &RootState::root);
  return it == roots.end() ? nullptr : &*it;
}

const Bytes* CheckerState::find_map(const Sha256& digest) const {
  const auto it = std::ranges::find(maps, digest, [](const Bytes& map) { return compute_sha256(map); });
  return it == maps.end() ? nullptr : &*it;
}

std::vector<Sha256> maps_needed(const CheckerState& state) {
  std::vector<Sha256> needed;
  for (const RootState& root : state.roots) {
    for (const JobState& job : root.jobs) {
      for (const KeptRevision& kept : job.revisions) needed.push_back(kept.map);
      for (const AcceptedRevision& way_back : job.ways_back) needed.push_back(way_back.map);
    }
  }
  std::ranges::sort(needed);
  needed.erase(std::unique(needed.begin(), needed.end()), needed.end());
  return needed;
}

RootState& CheckerState::entry(const KeyId& root) {
  const auto it = std::ranges::lower_bound(roots, root, {}, &RootState::root);
  if (it != roots.end() && it->root == root) return *it;
  RootState fresh;
  fresh.root = root;
  return *roots.insert(it, std::move(fresh));
}

JobState& RootState::entry(const std::string& job, const std::string& controller) {
  const auto it = std::ranges::lower_bound(jobs, std::pair(job, controller), {},
                                           [](const JobState& j) { return std::pair(j.job, j.controller); });
  if (it != jobs.end() && it->job == job && it->controller == controller) return *it;
  JobState fresh;
  fresh.job = job;
  fresh.controller = controller;
  return *jobs.insert(it, std::move(fresh));
}

void state_fields(Fields& field, CheckerState& state) {
  field.kind_of_file("state/1");
  field("last_time", state.last_time, kMaybeTime);
  field("maps", state.maps, List{MapText{}, kStateMapLimit});
  field("roots", state.roots, List{Record{root_fields}, kStateRootLimit});
}

std::string write_state(const CheckerState& state) {
  const std::string line = canonical_text(state, state_fields);
  return line + "\n" + digest_text(compute_sha256(view_of(line))) + "\n";
}

Result<CheckerState> parse_state(ByteView file, const std::string& name) {
  if (file.size() > kStateSizeLimit) {
    return damaged(name, "", grouped(file.size()) + " bytes",
                   "at most " + grouped(kStateSizeLimit) + " bytes");
  }
  const std::string_view text = text_of(file);
  const std::size_t end = text.find('\n');
  if (!text.starts_with(kStateLiteral) || end == std::string_view::npos) {
    return damaged(name, "line 1", "another beginning", std::string(kStateLiteral));
  }
  const std::string_view line = text.substr(0, end);
  const std::string sum = digest_text(compute_sha256(view_of(line)));
  if (text.substr(end + 1) != sum + "\n") {
    return damaged(name, "line 2", "\"" + printable(text.substr(end + 1), 80) + "\"", sum);
  }
  Result<CheckerState> state = parse_fields(line, state_fields, name);
  if (!state) {
    Error error = std::move(state).error();
    error.reason = Reason::kStateDamaged;
    return fail(std::move(error));
  }
  if (canonical_text(*state, state_fields) != line)
    return damaged(name, "line 1", "another text", "the canonical text");
  if (!is_consistent(*state)) return damaged(name, "line 1", "fields that contradict", "what calseal writes");
  return state;
}

}  // namespace calseal
