#include "calseal/archive/facts.h"

#include "calseal/archive/path_text.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/ledger/layout.h"

namespace calseal {
namespace {

constexpr Text kFaultText{4096};
constexpr std::size_t kFactsLimit = std::size_t{1} << 20;
constexpr List kDigests{kDigest, kFactsLimit};
constexpr Integer kBase{1, kBaseLimit};
constexpr Integer kRevision{0, kRevisionLimit};
constexpr Integer kSequence{1, kSequenceLimit};
constexpr Integer kEntries{0, kLedgerEntryLimit};

// The code of a reason.
struct ReasonCode {
  void read(const JsonNode& node, Reason& reason) const {
    const std::string code = node.text(64);
    const auto found = find_reason(code);
    if (!found) node.refuse(Reason::kJsonValue, printable(code), "a reason");
    reason = found.value_or(Reason::kInternal);
  }
  void write(JsonText& text, Reason reason) const { text.value(code(reason)); }
  void describe(JsonText& schema) const { Text{64}.describe(schema); }
};

void error_fields(Fields& field, Error& error) {
  std::string file;  // the one that the facts are about
  field("reason", error.reason, ReasonCode{});
  field("file", file, kFaultText);
  field("place", error.place, kFaultText);
  field("found", error.found, kFaultText);
  field("expected", error.expected, kFaultText);
  field("next", error.next, kFaultText);
}

void named_fields(Fields& field, NamedDigest& named) {
  field("name", named.name, kPath);
  field("digest", named.digest, kDigest);
}

void member_fields(Fields& field, SetMember& member) {
  field("controller", member.controller, kName);
  field("base", member.base, kBase);
  field("sequence", member.sequence, kSequence);
  field("map", member.map_digest, kDigest);
  field("pinned", member.pinned, kDigest);
}

void revision_fields(Fields& field, RevisionClaim& claim) {
  field("identity", claim.identity, kDigest);
  field("seal", claim.seal, kDigest);
  field("job", claim.job, kName);
  field("controller", claim.controller, kName);
  field("base", claim.base, kBase);
  field("revision", claim.revision, kRevision);
  field("sequence", claim.sequence, kSequence);
  field("parent", claim.parent, kMaybeDigest);
  field("set", claim.set, kMaybeDigest);
  field("salt", claim.salt, kMaybeDigest);
  field("claimed_time", claim.claimed_time, kTime);
  field("map", claim.map, kDigest);
  field("pinned", claim.pinned, kDigest);
  field("received", claim.received, List{Record{named_fields}, kFactsLimit});
  field("options", claim.options, kDigests);
  field("signers", claim.signers, kDigests);
  field("incomplete", claim.incomplete, kBoolean);
  field("members", claim.members, List{Record{member_fields}, kSetMemberLimit});
}

void statement_fields(Fields& field, StatementClaim& claim) {
  field("number", claim.number, Integer{});
  field("claimed_time", claim.claimed_time, kMaybeTime);
  field("job", claim.job, kMaybeName);
  field("controller", claim.controller, kMaybeName);
  field("names", claim.names, kDigests);
}

void sealed_fields(Fields& field, JobClaim::Sealed& sealed) {
  field("identity", sealed.identity, kDigest);
  field("base", sealed.base, kBase);
  field("revision", sealed.revision, kRevision);
  field("sequence", sealed.sequence, kSequence);
}

void job_fields(Fields& field, JobClaim& claim) {
  field("job", claim.job, kMaybeName);
  field("controller", claim.controller, kMaybeName);
  field("broken_lines", claim.broken_lines, Integer{});
  field("sealed", claim.sealed, List{Record{sealed_fields}, kFactsLimit});
  field("attached", claim.attached, List{Record{named_fields}, kFactsLimit});
  field("parcels", claim.parcels, List{Record{named_fields}, kFactsLimit});
}

void seal_fields(Fields& field, LedgerSeal& seal) {
  field("entry", seal.index, kEntries);
  field("identity", seal.identity, kDigest);
  field("job", seal.job, kName);
  field("controller", seal.controller, kName);
  field("base", seal.base, Integer{0, kBaseLimit});
  field("revision", seal.revision, kRevision);
  field("sequence", seal.sequence, Integer{0, kSequenceLimit});
  field("claimed_time", seal.claimed, kTime);
}
constexpr Record kSeal{seal_fields};

void ledger_parcel_fields(Fields& field, LedgerParcel& parcel) {
  field("entry", parcel.index, kEntries);
  field("digest", parcel.digest, kDigest);
  field("job", parcel.job, kName);
}
constexpr Record kLedgerParcel{ledger_parcel_fields};

void witness_fields(Fields& field, LedgerWitness& witness) {
  field("entries", witness.size, Integer{1, kLedgerEntryLimit});
  field("by", witness.by, Choice{kWitnessNames});
  field("time", witness.time, kTime);
}

void finding_fields(Fields& field, LedgerFinding& finding) {
  field("fault", finding.fault, Choice{kLedgerFaultNames});
  field("file", finding.file, kPath);
  field.optional("entry", finding.index, Integer{});
  field("text", finding.text, kFaultText);
  field("next", finding.next, kFaultText);
  field.optional("last_entry", finding.last, Integer{});
}
constexpr Record kFinding{finding_fields};

void ledger_claim_fields(Fields& field, LedgerClaim& claim) {
  field("id", claim.id, kDigest);
  field("entries", claim.head.size, kEntries);
  field("root_hash", claim.head.root_hash, kDigest);
  field("erased", claim.erased, kEntries);
  field("witnesses", claim.witnesses, List{Record{witness_fields}, kFactsLimit});
}

void hint_fields(Fields& field, BundleHint& hint) {
  field("job", hint.job, kName);
  field("base", hint.base, kBase);
  field("revision", hint.revision, kRevision);
  field("sequence", hint.sequence, kSequence);
}

// A ledger's findings, seals and parcels stand in lines of their own.
void facts_fields(Fields& field, FileFacts& facts) {
  field("file", facts.path, kPath);
  field("size", facts.size, Integer{});
  field("kind", facts.kind, Choice{kFileKindNames});
  field("digest", facts.digest, kMaybeDigest);
  field.optional("fault", facts.fault, Record{error_fields});
  field.optional("hint", facts.hint, Record{hint_fields});
  field.optional("revision", facts.revision, Record{revision_fields});
  field.unless(Proof::kNotAsked, "proof", facts.proof, Choice{kProofNames});
  field.optional("statement", facts.statement, Record{statement_fields});
  field.optional("job", facts.job, Record{job_fields});
  field.optional("ledger", facts.ledger, Record{ledger_claim_fields});
  field.optional("salt", facts.salt, kDigest);
  field.optional("continues", facts.continues, kBoolean);
}

// The line of one member.
template <typename Value>
std::string line_of(std::string_view key, const Value& value, const Record<Value>& kind) {
  JsonText text;
  text.object([&] {
    text.key(key);
    kind.write(text, value);
  });
  return text.take();
}

}  // namespace

std::vector<std::string> write_facts(const FileFacts& facts) {
  std::vector<std::string> lines{canonical_text(facts, facts_fields)};
  if (!facts.ledger) return lines;
  for (const LedgerFinding& finding : facts.ledger->findings)
    lines.push_back(line_of("ledger_finding", finding, kFinding));
  for (const LedgerSeal& seal : facts.ledger->seals) lines.push_back(line_of("ledger_seal", seal, kSeal));
  for (const LedgerParcel& parcel : facts.ledger->parcels)
    lines.push_back(line_of("ledger_parcel", parcel, kLedgerParcel));
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
    facts.push_back(read_record(root, facts_fields));
  } else if (facts.empty() || !facts.back().ledger) {
    root.refuse(Reason::kJsonValue, "a line of no file", "a file first");
  } else if (const auto seal = object.optional("ledger_seal")) {
    kSeal.read(*seal, facts.back().ledger->seals.emplace_back());
    object.done();
  } else if (const auto parcel = object.optional("ledger_parcel")) {
    kLedgerParcel.read(*parcel, facts.back().ledger->parcels.emplace_back());
    object.done();
  } else if (const auto finding = object.required("ledger_finding")) {
    kFinding.read(*finding, facts.back().ledger->findings.emplace_back());
    object.done();
  }
  if (!document.ok()) return damaged(document.error());
  return {};
}

}  // namespace calseal
