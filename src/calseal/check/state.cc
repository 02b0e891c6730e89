#include "calseal/check/state.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {
namespace {

tl::unexpected<Error> damaged(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kStateDamaged, name, std::move(place), std::move(found), std::move(expected),
               "put the file aside; a new state begins with the next bundle that is accepted"});
}

JsonValue json_job(const JobState& job) {
  return json_object({{"job", json(job.job)},
                      {"controller", json(job.controller)},
                      {"base", json(job.base)},
                      {"way_back_sequence", json(job.way_back_sequence)},
                      {"way_back", json_digest(job.way_back)},
                      {"sequence", json(job.sequence)},
                      {"revision", json_digest(job.revision)},
                      {"set", json_digest(job.set)},
                      {"returns", json_array(job.returns, [](const Sha256& d) { return json_digest(d); })}});
}

JsonValue json_root(const RootState& root) {
  return json_object(
      {{"root", json_digest(root.root)},
       {"trust_version", json(root.trust_version)},
       {"trust", json_digest(root.trust)},
       {"superseded", json(root.superseded)},
       {"withdrawal_number", json(root.withdrawal_number)},
       {"withdrawals", json_digest(root.withdrawals)},
       {"withdrawn", json_array(root.withdrawn, [](const Sha256& d) { return json_digest(d); })},
       {"jobs", json_array(root.jobs, json_job)}});
}

std::vector<Sha256> read_digests(JsonObject& object, std::string_view key, std::size_t limit) {
  std::vector<Sha256> digests;
  for (const JsonNode& node : object.items(key, limit)) digests.push_back(read_digest(node));
  return digests;
}

JobState read_job(const JsonNode& node) {
  JsonObject object(node);
  JobState job;
  job.job = read_name(object, "job");
  job.controller = read_name(object, "controller");
  job.base = object.integer("base", 1, kBaseLimit);
  job.way_back_sequence = object.integer("way_back_sequence", 0, kSequenceLimit);
  job.way_back = read_optional_digest(object, "way_back");
  job.sequence = object.integer("sequence", 1, kSequenceLimit);
  job.revision = read_digest(object, "revision");
  job.set = read_optional_digest(object, "set");
  job.returns = read_digests(object, "returns", kReturnLimit);
  object.done();
  return job;
}

RootState read_root(const JsonNode& node) {
  JsonObject object(node);
  RootState root;
  root.root = read_digest(object, "root");
  root.trust_version = object.integer("trust_version", 1, kJsonIntegerLimit);
  root.trust = read_digest(object, "trust");
  root.superseded = object.boolean("superseded");
  root.withdrawal_number = object.integer("withdrawal_number", 0, kJsonIntegerLimit);
  root.withdrawals = read_optional_digest(object, "withdrawals");
  root.withdrawn = read_digests(object, "withdrawn", kNoticeLimit);
  for (const JsonNode& job : object.items("jobs", kStateJobLimit)) root.jobs.push_back(read_job(job));
  object.done();
  return root;
}

CheckerState read_fields(const JsonNode& node) {
  JsonObject object(node);
  CheckerState state;
  object.text("calseal");
  state.last_time = read_optional_time(object, "last_time");
  for (const JsonNode& root : object.items("roots", kStateRootLimit)) state.roots.push_back(read_root(root));
  object.done();
  return state;
}

std::string first_line(const CheckerState& state) {
  return canonical_json(json_object({{"calseal", json("state/1")},
                                     {"last_time", json(state.last_time)},
                                     {"roots", json_array(state.roots, json_root)}}));
}

template <typename List, typename Key>
bool is_ascending(const List& list, Key key) {
  return std::ranges::adjacent_find(list, [&](const auto& a, const auto& b) { return !(key(a) < key(b)); }) ==
         list.end();
}

bool is_consistent(const CheckerState& state) {
  const auto itself = [](const Sha256& digest) { return digest; };
  if (!is_ascending(state.roots, [](const RootState& r) { return r.root; })) return false;
  return std::ranges::all_of(state.roots, [&](const RootState& root) {
    if (!is_ascending(root.jobs, [](const JobState& j) { return std::pair(j.job, j.controller); }))
      return false;
    if (root.withdrawals.has_value() != (root.withdrawal_number != 0)) return false;
    return is_ascending(root.withdrawn, itself) && std::ranges::all_of(root.jobs, [&](const JobState& job) {
             return job.way_back.has_value() == (job.way_back_sequence != 0) &&
                    job.way_back_sequence <= job.sequence && is_ascending(job.returns, itself);
           });
  });
}

}  // namespace

const JobState* RootState::find(std::string_view job, std::string_view controller) const {
  const auto it = std::ranges::find_if(
      jobs, [&](const JobState& j) { return j.job == job && j.controller == controller; });
  return it == jobs.end() ? nullptr : &*it;
}

const RootState* CheckerState::find(const KeyId& root) const {
  const auto it = std::ranges::find(roots, root, &RootState::root);
  return it == roots.end() ? nullptr : &*it;
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
