#include "calseal/ledger/detail.h"

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/ledger/layout.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr Integer kEntryIndex{0, kLedgerEntryLimit};

// Indices of entries, ascending.
struct Erases : List<Integer> {
  void read(const JsonNode& node, std::vector<std::uint64_t>& indices) const {
    for (const JsonNode& item : node.items(limit)) {
      kind.read(item, indices.emplace_back());
      if (indices.size() > 1 && indices.back() <= indices[indices.size() - 2])
        item.refuse(Reason::kJsonValue, std::to_string(indices.back()), "ascending indices");
    }
  }
};

}  // namespace

void ledger_facts_fields(Fields& field, LedgerFacts& facts) {
  field("about", facts.about, kDigest);
  field("kind", facts.kind, Choice{kEntryKindNames});
  field("claimed_time", facts.claimed_time, kTime);
  field("job", facts.job, kMaybeName);
  field("controller", facts.controller, kMaybeName);
  field("base", facts.base, Integer{0, kBaseLimit});
  field("revision", facts.revision, Integer{0, kRevisionLimit});
  field("sequence", facts.sequence, Integer{0, kSequenceLimit});
  field("words", facts.words, kLine);
  field("file", facts.file, kMaybeDigest);
  field("erases", facts.erases, Erases{{kEntryIndex, kErasedTogetherLimit}});
}

std::string subject_text(const LedgerFacts& facts) {
  if (facts.kind == EntryKind::kErased)
    return "details of " + std::to_string(facts.erases.size()) + " entries";
  if (facts.kind == EntryKind::kParcelTaken) return "parcel " + digest_text(facts.about);
  return "base " + std::to_string(facts.base) + ", revision " + std::to_string(facts.revision);
}

void ledger_detail_fields(Fields& field, LedgerDetail& detail) {
  field.kind_of_file("ledger-detail/1");
  field("entry", detail.index, kEntryIndex);
  field.either(
      "erased_by", detail.erased_by.has_value(),
      [&](Fields& with) { with.optional("erased_by", detail.erased_by, kEntryIndex); },
      [&](Fields& without) {
        without("nonce", detail.nonce, Hex{kNonceSize});
        without("facts", detail.facts, Record{ledger_facts_fields});
      });
}

std::string write_ledger_detail(const LedgerDetail& detail) {
  return canonical_text(detail, ledger_detail_fields);
}

Result<LedgerDetail> parse_ledger_detail(ByteView line, const std::string& name) {
  if (!text_of(line).starts_with(kDetailLiteral)) {
    return fail({Reason::kLedgerDamaged, name, "", "\"" + printable(text_of(line), 60) + "\"",
                 std::string(kDetailLiteral), "put the file back from a copy"});
  }
  return parse_canonical_text(line, Reason::kLedgerDamaged, ledger_detail_fields, name);
}

Sha256 entry_salt(const Bytes& nonce, const LedgerFacts& facts) {
  return compute_hmac_sha256(nonce, view_of(canonical_text(facts, ledger_facts_fields)));
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
