// Histories as files: what a history's description (one line of JSON, see histories.py) says of bundles,
// trust files, successions and lists is sealed and signed, then its checks are run one after the other with
// one state.
//
//   calseal_histories [--files]   descriptions on stdin, answers on stdout, one line each
//
// With --files the answer also holds the description and every file in hexadecimal, for another checker.
#include <cstdio>
#include <iostream>
#include <map>

#include "calseal/base/json_reader.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/spoken_code.h"
#include "support/small_job.h"

namespace calseal {
namespace {

constexpr std::uint8_t kKeys = 20;  // seeds 1 to 20

[[noreturn]] void give_up(const std::string& why) {
  std::fprintf(stderr, "calseal_histories: %s\n", why.c_str());
  std::exit(2);
}

template <typename T>
T must(Result<T> result) {
  if (!result) give_up(result.error().place + ": " + result.error().found + ", " + result.error().expected);
  return *std::move(result);
}

const PrivateKey& key(std::uint64_t seed) {
  static const std::vector<PrivateKey> keys = [] {
    std::vector<PrivateKey> made;
    for (std::uint8_t i = 1; i <= kKeys; ++i) made.push_back(small_key(i));
    return made;
  }();
  return keys.at(seed - 1);
}

// Sealing needs a trust file; here every key may seal.
const TrustFile& workshop() {
  static const TrustFile trust = [] {
    TrustFile made;
    made.shop = "workshop";
    made.root = key(kKeys).public_key();
    made.claimed_time = "2026-01-01T00:00:00Z";
    for (std::uint64_t seed = 1; seed < kKeys; ++seed) {
      made.keys.push_back(small_trusted(key(seed), "key", Role::kAuthor));
      made.keys.back().roles = {Role::kAuthor, Role::kMapAuthor, Role::kReviewer};
      made.keys.back().valid_from = "2000-01-01T00:00:00Z";
    }
    std::ranges::sort(made.keys, {}, &TrustedKey::id);
    return made;
  }();
  return trust;
}

// One for each text, in all histories.
const RegionMap& map_of(const std::string& text) {
  static std::map<std::string, RegionMap> maps;
  const auto at = maps.find(text);
  if (at != maps.end()) return at->second;
  RegionMap map = must(parse_region_map(Bytes(text.begin(), text.end()), "tiny.json"));
  return maps.emplace(text, std::move(map)).first->second;
}

// What the controller holds; the software's name is a locked byte.
Bytes car(const std::string& software) {
  Bytes bytes(64, 0xff);
  put(bytes, 0, "TINY");
  put(bytes, 0x30, software);
  return bytes;
}

std::vector<JsonNode> items(JsonObject& object, std::string_view name) { return object.items(name, 256); }

std::vector<std::string> names(JsonObject& object, std::string_view name) {
  std::vector<std::string> texts;
  for (const JsonNode& node : items(object, name)) texts.push_back(node.text());
  return texts;
}

std::vector<std::uint64_t> seeds(JsonObject& object, std::string_view name) {
  std::vector<std::uint64_t> numbers;
  for (const JsonNode& node : items(object, name)) numbers.push_back(node.integer(1, kKeys));
  return numbers;
}

// Two bundles may be one revision under other signatures.
void sort_out(std::vector<Sha256>& digests) {
  std::ranges::sort(digests);
  const auto rest = std::ranges::unique(digests);
  digests.erase(rest.begin(), rest.end());
}

struct MadeBundle {
  Bytes file;
  Sha256 digest;
};

class History {
 public:
  explicit History(const std::string& line) : line_(line), tree_(must(JsonTree::parse(line_, "history"))) {}

  JsonValue run(bool with_files) {
    JsonDocument document(line_, "history");
    JsonObject history{JsonNode(document, tree_)};
    history.text("id");
    for (const JsonNode& node : items(history, "maps")) read_map(node);
    for (const JsonNode& node : items(history, "approvals")) read_approval(node);
    for (const JsonNode& node : items(history, "bundles")) make_bundle(node);
    for (const JsonNode& node : items(history, "trusts")) make_trust(node);
    for (const JsonNode& node : items(history, "successions")) make_succession(node);
    for (const JsonNode& node : items(history, "lists")) make_list(node);
    for (const JsonNode& node : items(history, "job_lists")) make_job_list(node);
    std::vector<JsonValue> answers;
    for (const JsonNode& node : items(history, "steps")) answers.push_back(check(node));
    history.done();
    if (!document.ok()) give_up(document.error().place + ": " + document.error().found);
    const auto itself = [](const JsonValue& value) { return value; };
    JsonValue out = json_object({{"steps", json_array(answers, itself)}, {"digests", digests()}});
    if (with_files) {
      out.members.emplace_back("history", json(line_));
      out.members.emplace_back("files", files());
    }
    return out;
  }

 private:
  JsonValue digests() const {
    JsonValue out = json_object({{"", json("")}});
    out.members.clear();
    for (const auto& [name, bundle] : bundles_) out.members.emplace_back(name, json_digest(bundle.digest));
    return out;
  }
  JsonValue files() const {
    JsonValue out = json_object({{"", json("")}});
    out.members.clear();
    for (const auto& [name, bundle] : bundles_) out.members.emplace_back(name, json(to_hex(bundle.file)));
    for (const auto& [name, bytes] : files_) out.members.emplace_back(name, json(to_hex(bytes)));
    return out;
  }

  // What else the description says of them is for the oracle.
  void read_map(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    object.integer("version", 1, 1000);
    names(object, "opened");
    texts_[name] = object.text("text");
    object.done();
  }
  void read_approval(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    object.text("from");
    object.text("to");
    seeds(object, "keys");
    texts_[name] = object.text("text");
    object.done();
  }

  void make_bundle(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    SealRequest request;
    RevisionStatement& said = request.statement;
    said.job = object.text("job");
    said.base_number = object.integer("base", 1, kBaseLimit);
    said.revision = object.integer("revision", 0, 100);
    said.sequence = object.integer("sequence", 1, kSequenceLimit);
    const std::string software = object.text("software");
    said.title = object.text("title");
    const std::string& map = texts_.at(object.text("map"));
    request.map = &map_of(map);
    std::string whole = map;
    for (const std::string& approval : names(object, "approvals")) {
      const std::string& text = texts_.at(approval);
      said.approvals.push_back({approval, Bytes(text.begin(), text.end())});
      whole += text;
    }
    if (object.boolean("reviewed")) said.required_roles = {"author", "reviewer"};
    for (const std::string& back : names(object, "returns"))
      said.permitted_returns.push_back(bundles_.at(back).digest);
    sort_out(said.permitted_returns);
    said.expires = object.text("expires");
    said.claimed_time = *parse_time(object.text("claimed"));
    const std::vector<std::uint64_t> by = seeds(object, "keys");
    object.done();
    // The same description gives the same bytes in every history.
    whole += node_text(said, software, by);
    const auto [at, is_new] = made_.try_emplace(whole);
    if (is_new) at->second = seal_bundle(std::move(request), software, by);
    bundles_[name] = at->second;
  }

  static std::string node_text(const RevisionStatement& said, const std::string& software,
                               const std::vector<std::uint64_t>& by) {
    std::string text = said.job + "/" + std::to_string(said.base_number) + "/" +
                       std::to_string(said.revision) + "/" + std::to_string(said.sequence) + "/" + software +
                       "/" + said.title + "/" + said.expires + "/" + time_text(said.claimed_time) + "/" +
                       std::to_string(said.required_roles.size());
    for (const Sha256& digest : said.permitted_returns) text += "/" + digest_text(digest);
    for (const std::uint64_t seed : by) text += "+" + std::to_string(seed);
    return text;
  }

  static MadeBundle seal_bundle(SealRequest request, const std::string& software,
                                const std::vector<std::uint64_t>& by) {
    RevisionStatement& said = request.statement;
    const bool first = said.revision == 0 && said.base_number == 1;
    if (!first) said.parent = compute_sha256(view_of("parent"));
    said.vehicle_reference = "blue estate";
    said.tool = "tests";
    request.base = blank_image(*request.map);
    request.base.memories[0].bytes = car(software);
    request.base.memories[0].known = RangeSet(request.base.memories[0].extent);
    request.result = request.base;
    if (said.revision == 0) {
      request.files = {{"flash", "raw", 64, compute_sha256(car(software))}};
    } else {
      request.result.memories[0].bytes[0x10] = static_cast<std::uint8_t>(said.revision);
    }
    SigningKeys keys;
    for (const std::uint64_t seed : by) keys.emplace_back(key(seed));
    const SealedBundle sealed = must(seal(request, keys, workshop()));
    return {sealed.file, sealed.digest};
  }

  static Role role_of(const std::string& name) {
    for (const Role role : {Role::kAuthor, Role::kMapAuthor, Role::kReviewer, Role::kWithdrawal})
      if (role_name(role) == name) return role;
    give_up("no role " + name);
  }

  void make_trust(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    TrustFile trust;
    const PrivateKey& root = key(object.integer("root", 1, kKeys));
    trust.root = root.public_key();
    trust.version = object.integer("version", 1, kJsonIntegerLimit);
    trust.claimed_time = object.text("claimed");
    trust.shop = "shop";
    if (const std::uint64_t next = object.integer("next", 0, kKeys)) trust.next_root = key(next).id();
    trust.threshold = object.integer("threshold", 1, 8);
    for (const JsonNode& one : items(object, "keys")) {
      JsonObject listed(one);
      TrustedKey entry = small_trusted(key(listed.integer("key", 1, kKeys)), "key", Role::kAuthor);
      entry.valid_from = "2000-01-01T00:00:00Z";
      entry.roles.clear();
      for (const std::string& role : names(listed, "roles")) entry.roles.push_back(role_of(role));
      entry.compromised = listed.boolean("stolen");
      listed.done();
      trust.keys.push_back(std::move(entry));
    }
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
    object.done();
    files_[name] = bytes_of(must(seal_trust_file(trust, root)));
    trusts_[name] = trust;
  }

  void make_succession(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    Succession step;
    const std::string old = object.text("trust");
    const PrivateKey& from = key(object.integer("from", 1, kKeys));
    const PrivateKey& to = key(object.integer("to", 1, kKeys));
    object.done();
    step.old_trust = trusts_.at(old);
    step.old_trust_text = std::string(text_of(files_.at(old)));
    step.new_root = to.public_key();
    step.claimed_time = "2026-01-01T00:00:00Z";
    step.reason = "next";
    files_[name] = bytes_of(must(sign_statement(write_succession_text(step), {from, to})));
  }

  void make_list(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    WithdrawalList list;
    list.root = key(object.integer("root", 1, kKeys)).id();
    list.number = object.integer("number", 1, kJsonIntegerLimit);
    SigningKeys by;
    for (const std::uint64_t seed : seeds(object, "keys")) by.emplace_back(key(seed));
    list.claimed_time = object.text("claimed");
    list.fresh_until = "2099-01-01T00:00:00Z";
    std::vector<Sha256> revisions;
    for (const std::string& bundle : names(object, "notices"))
      revisions.push_back(bundles_.at(bundle).digest);
    object.done();
    sort_out(revisions);
    for (const Sha256& revision : revisions)
      list.notices.push_back({revision, "j", "engine", WithdrawalClass::kSafety, false, {}, "why"});
    files_[name] = bytes_of(must(sign_statement(write_withdrawal_text(list), by)));
  }

  void make_job_list(const JsonNode& node) {
    JsonObject object(node);
    const std::string name = object.text("name");
    JobList list;
    list.root = key(object.integer("root", 1, kKeys)).id();
    list.job = object.text("job");
    list.controller = "engine";
    const PrivateKey& by = key(object.integer("key", 1, kKeys));
    list.claimed_time = object.text("claimed");
    for (const JsonNode& one : items(object, "revisions")) {
      JsonObject row(one);
      const Sha256 digest = bundles_.at(row.text("bundle")).digest;
      const std::uint64_t base = row.integer("base", 1, kBaseLimit);
      const std::uint64_t revision = row.integer("revision", 0, kRevisionLimit);
      list.revisions.push_back({digest, base, revision, row.integer("sequence", 1, kSequenceLimit)});
      row.done();
    }
    object.done();
    files_[name] = bytes_of(must(sign_statement(write_job_list_text(list), {by})));
  }

  CheckRequest request_of(JsonObject& step) {
    CheckRequest request;
    const std::string bundle = step.text("bundle");
    request.bundle_name = bundle;
    request.bundle = bundles_.at(bundle).file;
    const std::string trust = step.text("trust");
    request.trust_name = trust;
    request.trust = files_.at(trust);
    for (const std::string& name : names(step, "successions"))
      request.successions.push_back({name, files_.at(name)});
    if (const std::uint64_t stated = step.integer("stated", 0, kKeys))
      request.stated_root = spoken_code(Spoken::kKey, key(stated).id());
    const auto file = [&](const char* name) -> std::optional<NamedBytes> {
      const std::string named = step.text(name);
      if (named.empty()) return std::nullopt;
      return NamedBytes{named, bundles_.contains(named) ? bundles_.at(named).file : files_.at(named)};
    };
    request.withdrawals = file("withdrawals");
    request.job_list = file("job_list");
    request.newest = file("newest");
    request.declared_return = step.boolean("return");
    request.declared_old_base = step.boolean("old_base");
    request.declared_clock = step.boolean("clock_is_right");
    request.now = *parse_time(step.text("now"));
    request.evidence.read_is_fresh = true;
    request.evidence.vehicle_reference = "blue estate";
    request.state = NamedBytes{"state", Bytes(state_.begin(), state_.end())};
    return request;
  }

  JsonValue check(const JsonNode& node) {
    JsonObject step(node);
    CheckRequest request = request_of(step);
    const std::string mode = step.text("mode");
    const std::string software = step.text("car");
    step.done();
    request.seal_only = mode == "seal";
    request.revive = mode == "revive";
    if (mode == "write" || mode == "look" || mode == "seal") request.read = {{"", "read.bin", car(software)}};
    const Verdict verdict = check_bundle(std::move(request));
    const bool written = verdict.outcome == Outcome::kAccepted && mode != "look";
    const std::string& after = written ? verdict.state_after_write : verdict.state_after_look;
    if (!after.empty()) state_ = after;
    std::vector<std::string> cautions;
    for (const Caution& caution : verdict.cautions) cautions.push_back(caution.code);
    return json_object({{"outcome", json(outcome_name(verdict.outcome))},
                        {"reason", json(verdict.reason ? code(verdict.reason->reason) : std::string_view())},
                        {"passage", json(passage_name(verdict.passage))},
                        {"cautions", json_strings(cautions)},
                        {"state", json(state_)}});
  }

  static Bytes bytes_of(const std::string& text) { return {text.begin(), text.end()}; }

  std::string line_;
  JsonTree tree_;
  std::map<std::string, MadeBundle> bundles_;
  std::map<std::string, Bytes> files_;
  std::map<std::string, TrustFile> trusts_;
  std::map<std::string, std::string> texts_;  // of region maps and approvals
  std::string state_;
  static inline std::map<std::string, MadeBundle> made_;
};

}  // namespace
}  // namespace calseal

int main(int argc, char** argv) {
  const bool with_files = argc > 1 && std::string_view(argv[1]) == "--files";
  std::ios::sync_with_stdio(false);
  std::string line;
  while (std::getline(std::cin, line)) {
    std::cout << calseal::canonical_json(calseal::History(line).run(with_files)) << std::endl;
  }
  return 0;
}
