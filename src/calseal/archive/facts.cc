#include "calseal/archive/facts.h"

#include <array>

#include "calseal/archive/path_text.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/ledger/layout.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 2> kDepthNames{"stored", "proved"};
constexpr std::array<std::string_view, 4> kProofNames{"not-asked", "proved", "failed", "no-base"};
constexpr std::size_t kFaultTextLimit = 4096;  // bytes
constexpr std::size_t kListLimit = std::size_t{1} << 20;
constexpr auto kFaultCount = static_cast<std::size_t>(LedgerFault::kEnteredLate) + 1;

template <typename T, std::size_t Count>
T read_choice(JsonObject& object, std::string_view key, const std::array<std::string_view, Count>& names) {
  return static_cast<T>(object.choice(key, {names.begin(), names.end()}));
}

std::string read_path(JsonObject& object, std::string_view key) {
  const auto node = object.required(key);
  if (!node) return {};
  auto path = parse_path_text(node->text(65536));
  if (!path) node->refuse(Reason::kJsonValue, "a name that is not escaped as names are", "a name");
  return path.value_or(std::string());
}

std::vector<Sha256> read_digests(JsonObject& object, std::string_view key) {
  std::vector<Sha256> digests;
  for (const JsonNode& node : object.items(key, kListLimit)) digests.push_back(read_digest(node));
  return digests;
}

JsonValue digests_json(const std::vector<Sha256>& digests) {
  return json_array(digests, [](const Sha256& digest) { return json_digest(digest); });
}

// --- errors

Error read_error(const JsonNode& node) {
  JsonObject object(node);
  Error error;
  const std::string reason = object.text("reason", 64);
  const auto found = find_reason(reason);
  if (!found) object.node().refuse(Reason::kJsonValue, printable(reason), "a reason");
  error.reason = found.value_or(Reason::kInternal);
  object.text("file", kFaultTextLimit);
  error.place = object.text("place", kFaultTextLimit);
  error.found = object.text("found", kFaultTextLimit);
  error.expected = object.text("expected", kFaultTextLimit);
  error.next = object.text("next", kFaultTextLimit);
  object.done();
  return error;
}

// --- claims

JsonValue named_digests_json(const std::vector<NamedDigest>& list) {
  return json_array(list, [](const NamedDigest& named) {
    return json_object({{"name", json(path_text(named.name))}, {"digest", json_digest(named.digest)}});
  });
}

std::vector<NamedDigest> read_named_digests(JsonObject& object, std::string_view key) {
  std::vector<NamedDigest> list;
  for (const JsonNode& node : object.items(key, kListLimit)) {
    JsonObject named(node);
    NamedDigest one;
    one.name = read_path(named, "name");
    one.digest = read_digest(named, "digest");
    named.done();
    list.push_back(std::move(one));
  }
  return list;
}

JsonValue member_json(const SetMember& member) {
  return json_object({{"controller", json(member.controller)},
                      {"base", json(member.base)},
                      {"sequence", json(member.sequence)},
                      {"map", json_digest(member.map_digest)},
                      {"pinned", json_digest(member.pinned)}});
}

SetMember read_member(const JsonNode& node) {
  JsonObject object(node);
  SetMember member;
  member.controller = read_name(object, "controller");
  member.base = object.integer("base", 1, kBaseLimit);
  member.sequence = object.integer("sequence", 1, kSequenceLimit);
  member.map_digest = read_digest(object, "map");
  member.pinned = read_digest(object, "pinned");
  object.done();
  return member;
}

JsonValue revision_json(const RevisionClaim& claim) {
  return json_object({{"identity", json_digest(claim.identity)},
                      {"seal", json_digest(claim.seal)},
                      {"job", json(claim.job)},
                      {"controller", json(claim.controller)},
                      {"base", json(claim.base)},
                      {"revision", json(claim.revision)},
                      {"sequence", json(claim.sequence)},
                      {"parent", json_digest(claim.parent)},
                      {"set", json_digest(claim.set)},
                      {"salt", json_digest(claim.salt)},
                      {"claimed_time", json(claim.claimed_time)},
                      {"map", json_digest(claim.map)},
                      {"pinned", json_digest(claim.pinned)},
                      {"received", named_digests_json(claim.received)},
                      {"options", digests_json(claim.options)},
                      {"signers", digests_json(claim.signers)},
                      {"incomplete", json(claim.incomplete)},
                      {"members", json_array(claim.members, member_json)}});
}

RevisionClaim read_revision(const JsonNode& node) {
  JsonObject object(node);
  RevisionClaim claim;
  claim.identity = read_digest(object, "identity");
  claim.seal = read_digest(object, "seal");
  claim.job = read_name(object, "job");
  claim.controller = read_name(object, "controller");
  claim.base = object.integer("base", 1, kBaseLimit);
  claim.revision = object.integer("revision", 0, kRevisionLimit);
  claim.sequence = object.integer("sequence", 1, kSequenceLimit);
  claim.parent = read_optional_digest(object, "parent");
  claim.set = read_optional_digest(object, "set");
  claim.salt = read_optional_digest(object, "salt");
  claim.claimed_time = read_time(object, "claimed_time");
  claim.map = read_digest(object, "map");
  claim.pinned = read_digest(object, "pinned");
  claim.received = read_named_digests(object, "received");
  claim.options = read_digests(object, "options");
  claim.signers = read_digests(object, "signers");
  claim.incomplete = object.boolean("incomplete");
  for (const JsonNode& member : object.items("members", kSetMemberLimit))
    claim.members.push_back(read_member(member));
  object.done();
  return claim;
}

JsonValue statement_json(const StatementClaim& claim) {
  return json_object({{"number", json(claim.number)},
                      {"claimed_time", json(claim.claimed_time)},
                      {"job", json(claim.job)},
                      {"controller", json(claim.controller)},
                      {"names", digests_json(claim.names)}});
}

StatementClaim read_statement_claim(const JsonNode& node) {
  JsonObject object(node);
  StatementClaim claim;
  claim.number = object.integer("number", 0, kJsonIntegerLimit);
  claim.claimed_time = read_optional_time(object, "claimed_time");
  claim.job = read_optional_name(object, "job");
  claim.controller = read_optional_name(object, "controller");
  claim.names = read_digests(object, "names");
  object.done();
  return claim;
}

JsonValue job_json(const JobClaim& claim) {
  return json_object({{"job", json(claim.job)},
                      {"controller", json(claim.controller)},
                      {"broken_lines", json(claim.broken_lines)},
                      {"sealed", json_array(claim.sealed,
                                            [](const JobClaim::Sealed& sealed) {
                                              return json_object({{"identity", json_digest(sealed.identity)},
                                                                  {"base", json(sealed.base)},
                                                                  {"revision", json(sealed.revision)},
                                                                  {"sequence", json(sealed.sequence)}});
                                            })},
                      {"attached", named_digests_json(claim.attached)}});
}

JobClaim read_job_claim(const JsonNode& node) {
  JsonObject object(node);
  JobClaim claim;
  claim.job = read_optional_name(object, "job");
  claim.controller = read_optional_name(object, "controller");
  claim.broken_lines = object.integer("broken_lines", 0, kJsonIntegerLimit);
  for (const JsonNode& item : object.items("sealed", kListLimit)) {
    JsonObject one(item);
    JobClaim::Sealed sealed;
    sealed.identity = read_digest(one, "identity");
    sealed.base = one.integer("base", 1, kBaseLimit);
    sealed.revision = one.integer("revision", 0, kRevisionLimit);
    sealed.sequence = one.integer("sequence", 1, kSequenceLimit);
    one.done();
    claim.sealed.push_back(sealed);
  }
  claim.attached = read_named_digests(object, "attached");
  object.done();
  return claim;
}

// --- ledgers

UtcTime read_utc_time(JsonObject& object, std::string_view key) {
  return parse_time(read_time(object, key)).value_or(UtcTime{});
}

JsonValue seal_json(const LedgerSeal& seal) {
  return json_object({{"entry", json(seal.index)},
                      {"identity", json_digest(seal.identity)},
                      {"job", json(seal.job)},
                      {"controller", json(seal.controller)},
                      {"base", json(seal.base)},
                      {"revision", json(seal.revision)},
                      {"sequence", json(seal.sequence)},
                      {"claimed_time", json(time_text(seal.claimed))}});
}

LedgerSeal read_seal(const JsonNode& node) {
  JsonObject object(node);
  LedgerSeal seal;
  seal.index = object.integer("entry", 0, kLedgerEntryLimit);
  seal.identity = read_digest(object, "identity");
  seal.job = read_name(object, "job");
  seal.controller = read_name(object, "controller");
  seal.base = object.integer("base", 0, kBaseLimit);
  seal.revision = object.integer("revision", 0, kRevisionLimit);
  seal.sequence = object.integer("sequence", 0, kSequenceLimit);
  seal.claimed = read_utc_time(object, "claimed_time");
  object.done();
  return seal;
}

JsonValue witness_json(const LedgerWitness& witness) {
  return json_object({{"entries", json(witness.size)},
                      {"by", json(witness_name(witness.by))},
                      {"time", json(time_text(witness.time))}});
}

LedgerWitness read_witness(const JsonNode& node) {
  JsonObject object(node);
  LedgerWitness witness;
  witness.size = object.integer("entries", 1, kLedgerEntryLimit);
  witness.by = static_cast<Witness>(
      object.choice("by", {witness_name(Witness::kNobody), witness_name(Witness::kHead),
                           witness_name(Witness::kPinned), witness_name(Witness::kToken)}));
  witness.time = read_utc_time(object, "time");
  object.done();
  return witness;
}

JsonValue finding_json(const LedgerFinding& finding) {
  JsonValue value = json_object(
      {{"fault", json(ledger_fault_name(finding.fault))}, {"file", json(path_text(finding.file))}});
  if (finding.index) value.members.emplace_back("entry", json(*finding.index));
  value.members.emplace_back("text", json(finding.text));
  value.members.emplace_back("next", json(finding.next));
  return value;
}

LedgerFinding read_finding(const JsonNode& node) {
  JsonObject object(node);
  LedgerFinding finding;
  std::vector<std::string_view> names;
  for (std::size_t i = 0; i < kFaultCount; ++i)
    names.push_back(ledger_fault_name(static_cast<LedgerFault>(i)));
  finding.fault = static_cast<LedgerFault>(object.choice("fault", names));
  finding.file = read_path(object, "file");
  if (const auto index = object.optional("entry")) finding.index = index->integer(0, kJsonIntegerLimit);
  finding.text = object.text("text", kFaultTextLimit);
  finding.next = object.text("next", kFaultTextLimit);
  object.done();
  return finding;
}

JsonValue ledger_json(const LedgerClaim& claim) {
  return json_object({{"id", json_digest(claim.id)},
                      {"entries", json(claim.head.size)},
                      {"root_hash", json_digest(claim.head.root_hash)},
                      {"erased", json(claim.erased)},
                      {"witnesses", json_array(claim.witnesses, witness_json)}});
}

LedgerClaim read_ledger(const JsonNode& node) {
  JsonObject object(node);
  LedgerClaim claim;
  claim.id = read_digest(object, "id");
  claim.head.size = object.integer("entries", 0, kLedgerEntryLimit);
  claim.head.root_hash = read_digest(object, "root_hash");
  claim.erased = object.integer("erased", 0, kLedgerEntryLimit);
  for (const JsonNode& witness : object.items("witnesses", kListLimit))
    claim.witnesses.push_back(read_witness(witness));
  object.done();
  return claim;
}

// --- a file

JsonValue hint_json(const BundleHint& hint) {
  return json_object({{"job", json(hint.job)},
                      {"base", json(hint.base)},
                      {"revision", json(hint.revision)},
                      {"sequence", json(hint.sequence)}});
}

BundleHint read_hint(const JsonNode& node) {
  JsonObject object(node);
  BundleHint hint;
  hint.job = read_name(object, "job");
  hint.base = object.integer("base", 1, kBaseLimit);
  hint.revision = object.integer("revision", 0, kRevisionLimit);
  hint.sequence = object.integer("sequence", 1, kSequenceLimit);
  object.done();
  return hint;
}

JsonValue file_json(const FileFacts& facts) {
  JsonValue value = json_object({{"file", json(path_text(facts.path))},
                                 {"size", json(facts.size)},
                                 {"kind", json(file_kind_name(facts.kind))},
                                 {"digest", json_digest(facts.digest)}});
  const auto add = [&](const char* key, JsonValue member) {
    value.members.emplace_back(key, std::move(member));
  };
  if (facts.fault) add("fault", json_error(*facts.fault));
  if (facts.hint) add("hint", hint_json(*facts.hint));
  if (facts.revision) add("revision", revision_json(*facts.revision));
  if (facts.proof != Proof::kNotAsked) add("proof", json(proof_name(facts.proof)));
  if (facts.statement) add("statement", statement_json(*facts.statement));
  if (facts.job) add("job", job_json(*facts.job));
  if (facts.ledger) add("ledger", ledger_json(*facts.ledger));
  if (facts.salt) add("salt", json_digest(*facts.salt));
  if (facts.continues) add("continues", json(*facts.continues));
  return value;
}

FileFacts read_file_facts(JsonObject& object) {
  FileFacts facts;
  facts.path = read_path(object, "file");
  facts.size = object.integer("size", 0, kJsonIntegerLimit);
  const std::string kind = object.text("kind", 64);
  const auto found = find_file_kind(kind);
  if (!found) object.node().refuse(Reason::kJsonValue, printable(kind), "a kind of file");
  facts.kind = found.value_or(FileKind::kUnknown);
  facts.digest = read_optional_digest(object, "digest");
  if (const auto node = object.optional("fault")) facts.fault = read_error(*node);
  if (const auto node = object.optional("hint")) facts.hint = read_hint(*node);
  if (const auto node = object.optional("revision")) facts.revision = read_revision(*node);
  if (object.has("proof")) facts.proof = read_choice<Proof>(object, "proof", kProofNames);
  if (const auto node = object.optional("statement")) facts.statement = read_statement_claim(*node);
  if (const auto node = object.optional("job")) facts.job = read_job_claim(*node);
  if (const auto node = object.optional("ledger")) facts.ledger = read_ledger(*node);
  if (const auto node = object.optional("salt")) facts.salt = read_digest(*node);
  if (const auto node = object.optional("continues")) facts.continues = node->boolean();
  object.done();
  return facts;
}

}  // namespace

std::string_view depth_name(Depth depth) { return kDepthNames[static_cast<std::size_t>(depth)]; }
std::string_view proof_name(Proof proof) { return kProofNames[static_cast<std::size_t>(proof)]; }

std::vector<std::string> write_facts(const FileFacts& facts) {
  std::vector<std::string> lines{canonical_json(file_json(facts))};
  if (!facts.ledger) return lines;
  for (const LedgerFinding& finding : facts.ledger->findings)
    lines.push_back(canonical_json(json_object({{"ledger_finding", finding_json(finding)}})));
  for (const LedgerSeal& seal : facts.ledger->seals)
    lines.push_back(canonical_json(json_object({{"ledger_seal", seal_json(seal)}})));
  return lines;
}

Status FactsReader::take(std::string_view line, std::vector<FileFacts>& facts) const {
  const auto damaged = [&](Error error) {
    error.reason = Reason::kAuditRecordInvalid;
    error.next = "run the audit again";
    return fail(std::move(error));
  };
  const Result<JsonTree> tree = JsonTree::parse(line, name_);
  if (!tree) return damaged(tree.error());
  JsonDocument document(line, name_);
  const JsonNode root(document, *tree);
  JsonObject object(root);
  if (object.has("file")) {
    facts.push_back(read_file_facts(object));
  } else if (facts.empty() || !facts.back().ledger) {
    root.refuse(Reason::kJsonValue, "a line of no file", "a file first");
  } else if (const auto seal = object.optional("ledger_seal")) {
    facts.back().ledger->seals.push_back(read_seal(*seal));
    object.done();
  } else if (const auto finding = object.required("ledger_finding")) {
    facts.back().ledger->findings.push_back(read_finding(*finding));
    object.done();
  }
  if (!document.ok()) return damaged(document.error());
  return {};
}

}  // namespace calseal
