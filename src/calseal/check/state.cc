#include "calseal/check/state.h"

#include <algorithm>

#include "calseal/base/json_write.h"
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

JsonValue json_digests(const std::vector<Sha256>& digests) {
  return json_array(digests, [](const Sha256& digest) { return json_digest(digest); });
}

JsonValue json_kept(const KeptRevision& kept) {
  return json_object({{"base", json(kept.base)},
                      {"sequence", json(kept.sequence)},
                      {"revision", json_digest(kept.revision)},
                      {"map", json_digest(kept.map)},
                      {"reviewed", json(kept.reviewed)},
                      {"keys", json_digests(kept.keys)},
                      {"set", json_digest(kept.set)},
                      {"returns", json_digests(kept.returns)}});
}

JsonValue json_way_back(const AcceptedRevision& way_back) {
  return json_object({{"base", json(way_back.base)},
                      {"sequence", json(way_back.sequence)},
                      {"revision", json_digest(way_back.revision)},
                      {"map", json_digest(way_back.map)},
                      {"reviewed", json(way_back.reviewed)},
                      {"keys", json_digests(way_back.keys)}});
}

JsonValue json_job(const JobState& job) {
  return json_object({{"job", json(job.job)},
                      {"controller", json(job.controller)},
                      {"revisions", json_array(job.revisions, json_kept)},
                      {"ways_back", json_array(job.ways_back, json_way_back)}});
}

JsonValue json_list(const RememberedList& list) {
  return json_object({{"number", json(list.number)},
                      {"list", json_digest(list.list)},
                      {"keys", json_digests(list.keys)},
                      {"notices", json_digests(list.notices)},
                      {"dropped", json_digests(list.dropped)}});
}

JsonValue json_root(const RootState& root) {
  return json_object({{"root", json_digest(root.root)},
                      {"next", json_digest(root.next)},
                      {"trust_version", json(root.trust_version)},
                      {"trust", json_digest(root.trust)},
                      {"compromised", json_digests(root.compromised)},
                      {"withdrawals", json_array(root.withdrawals, json_list)},
                      {"jobs", json_array(root.jobs, json_job)}});
}

std::vector<Sha256> read_digests(JsonObject& object, std::string_view key, std::size_t limit) {
  std::vector<Sha256> digests;
  for (const JsonNode& node : object.items(key, limit)) digests.push_back(read_digest(node));
  return digests;
}

void read_accepted(JsonObject& object, AcceptedRevision& accepted) {
  accepted.base = object.integer("base", 1, kBaseLimit);
  accepted.sequence = object.integer("sequence", 1, kSequenceLimit);
  accepted.revision = read_digest(object, "revision");
  accepted.map = read_digest(object, "map");
  accepted.reviewed = object.boolean("reviewed");
  accepted.keys = read_digests(object, "keys", kSignatureLimit);
}

KeptRevision read_kept(const JsonNode& node) {
  JsonObject object(node);
  KeptRevision kept;
  read_accepted(object, kept);
  kept.set = read_optional_digest(object, "set");
  kept.returns = read_digests(object, "returns", kReturnLimit);
  object.done();
  return kept;
}

AcceptedRevision read_way_back(const JsonNode& node) {
  JsonObject object(node);
  AcceptedRevision way_back;
  read_accepted(object, way_back);
  object.done();
  return way_back;
}

JobState read_job(const JsonNode& node) {
  JsonObject object(node);
  JobState job;
  job.job = read_name(object, "job");
  job.controller = read_name(object, "controller");
  for (const JsonNode& one : object.items("revisions", kKeptRevisionLimit))
    job.revisions.push_back(read_kept(one));
  for (const JsonNode& one : object.items("ways_back", kWayBackLimit))
    job.ways_back.push_back(read_way_back(one));
  object.done();
  return job;
}

RememberedList read_list(const JsonNode& node) {
  JsonObject object(node);
  RememberedList list;
  list.number = object.integer("number", 1, kJsonIntegerLimit);
  list.list = read_digest(object, "list");
  list.keys = read_digests(object, "keys", kSignatureLimit);
  list.notices = read_digests(object, "notices", kNoticeLimit);
  list.dropped = read_digests(object, "dropped", kStateDroppedLimit);
  object.done();
  return list;
}

RootState read_root(const JsonNode& node) {
  JsonObject object(node);
  RootState root;
  root.root = read_digest(object, "root");
  root.next = read_optional_digest(object, "next");
  root.trust_version = object.integer("trust_version", 1, kJsonIntegerLimit);
  root.trust = read_digest(object, "trust");
  root.compromised = read_digests(object, "compromised", kStateCompromisedLimit);
  for (const JsonNode& list : object.items("withdrawals", kStateListLimit))
    root.withdrawals.push_back(read_list(list));
  for (const JsonNode& job : object.items("jobs", kStateJobLimit)) root.jobs.push_back(read_job(job));
  object.done();
  return root;
}

CheckerState read_fields(const JsonNode& node) {
  JsonObject object(node);
  CheckerState state;
  object.text("calseal");
  state.last_time = read_optional_time(object, "last_time");
  for (const JsonNode& map : object.items("maps", kStateMapLimit)) {
    const std::string text = map.text(kRegionMapSizeLimit);
    state.maps.emplace_back(text.begin(), text.end());
  }
  for (const JsonNode& root : object.items("roots", kStateRootLimit)) state.roots.push_back(read_root(root));
  object.done();
  return state;
}

std::string first_line(const CheckerState& state) {
  return canonical_json(
      json_object({{"calseal", json("state/1")},
                   {"last_time", json(state.last_time)},
                   {"maps", json_array(state.maps, [](const Bytes& map) { return json(text_of(map)); })},
                   {"roots", json_array(state.roots, json_root)}}));
}

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

std::string write_state(const CheckerState& state) {
  const std::string line = first_line(state);
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
  const auto unreadable = [&](Error error) {
    error.reason = Reason::kStateDamaged;
    return fail(std::move(error));
  };
  const auto tree = JsonTree::parse(line, name);
  if (!tree) return unreadable(tree.error());
  JsonDocument document(line, name);
  CheckerState state = read_fields(JsonNode(document, *tree));
  if (!document.ok()) return unreadable(document.error());
  if (first_line(state) != line) return damaged(name, "line 1", "another text", "the canonical text");
  if (!is_consistent(state)) return damaged(name, "line 1", "fields that contradict", "what calseal writes");
  return state;
}

}  // namespace calseal
