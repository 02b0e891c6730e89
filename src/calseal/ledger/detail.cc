#include "calseal/ledger/detail.h"

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/ledger/layout.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

const std::vector<std::string_view>& kind_names() {
  static const std::vector<std::string_view> kNames = [] {
    std::vector<std::string_view> names;
    for (auto kind = EntryKind::kSealed; kind <= EntryKind::kErased;
         kind = static_cast<EntryKind>(static_cast<int>(kind) + 1))
      names.push_back(entry_kind_name(kind));
    return names;
  }();
  return kNames;
}

LedgerFacts read_facts(const JsonNode& node) {
  JsonObject object(node);
  LedgerFacts facts;
  facts.about = read_digest(object, "about");
  facts.kind = static_cast<EntryKind>(object.choice("kind", kind_names()));
  facts.claimed_time = read_time(object, "claimed_time");
  facts.job = read_optional_name(object, "job");
  facts.controller = read_optional_name(object, "controller");
  facts.base = object.integer("base", 0, kBaseLimit);
  facts.revision = object.integer("revision", 0, kRevisionLimit);
  facts.sequence = object.integer("sequence", 0, kSequenceLimit);
  facts.words = read_line(object, "words");
  facts.file = read_optional_digest(object, "file");
  for (const JsonNode& index : object.items("erases", kErasedTogetherLimit)) {
    facts.erases.push_back(index.integer(0, kLedgerEntryLimit));
    if (facts.erases.size() > 1 && facts.erases.back() <= facts.erases[facts.erases.size() - 2])
      index.refuse(Reason::kJsonValue, std::to_string(facts.erases.back()), "ascending indices");
  }
  object.done();
  return facts;
}

LedgerDetail read_fields(JsonObject& object) {
  LedgerDetail detail;
  detail.index = object.integer("entry", 0, kLedgerEntryLimit);
  if (object.has("erased_by")) {
    detail.erased_by = object.integer("erased_by", 0, kLedgerEntryLimit);
    return detail;
  }
  detail.nonce = object.hex("nonce", kNonceSize, kNonceSize);
  if (const auto facts = object.required("facts")) detail.facts = read_facts(*facts);
  return detail;
}

}  // namespace

JsonValue ledger_facts_json(const LedgerFacts& facts) {
  return json_object({{"about", json_digest(facts.about)},
                      {"kind", json(entry_kind_name(facts.kind))},
                      {"claimed_time", json(facts.claimed_time)},
                      {"job", json(facts.job)},
                      {"controller", json(facts.controller)},
                      {"base", json(facts.base)},
                      {"revision", json(facts.revision)},
                      {"sequence", json(facts.sequence)},
                      {"words", json(facts.words)},
                      {"file", json_digest(facts.file)},
                      {"erases", json_array(facts.erases, [](std::uint64_t index) { return json(index); })}});
}

std::string write_ledger_detail(const LedgerDetail& detail) {
  JsonValue value = json_object({{"calseal", json("ledger-detail/1")}, {"entry", json(detail.index)}});
  if (detail.erased_by) {
    value.members.emplace_back("erased_by", json(*detail.erased_by));
  } else {
    value.members.emplace_back("nonce", json(to_hex(detail.nonce)));
    value.members.emplace_back("facts", ledger_facts_json(detail.facts));
  }
  return canonical_json(value);
}

Result<LedgerDetail> parse_ledger_detail(ByteView line, const std::string& name) {
  if (!text_of(line).starts_with(kDetailLiteral)) {
    return fail({Reason::kLedgerDamaged, name, "", "\"" + printable(text_of(line), 60) + "\"",
                 std::string(kDetailLiteral), "put the file back from a copy"});
  }
  return parse_canonical_text(line, Reason::kLedgerDamaged, read_fields, write_ledger_detail, name);
}

Sha256 entry_salt(const Bytes& nonce, const LedgerFacts& facts) {
  return compute_hmac_sha256(nonce, view_of(canonical_json(ledger_facts_json(facts))));
}

LedgerEntry entry_of(const Bytes& nonce, const LedgerFacts& facts) {
  return {facts.kind, facts.claimed_time,
          compute_hmac_sha256(entry_salt(nonce, facts).bytes, facts.about.bytes)};
}

Sha256 digest_of_erased(const std::vector<Sha256>& leaf_hashes) {
  Sha256Hasher hasher;
  for (const Sha256& leaf : leaf_hashes) hasher.update(leaf.bytes);
  return hasher.finish();
}

}  // namespace calseal
