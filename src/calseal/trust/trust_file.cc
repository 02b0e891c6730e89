#include "calseal/trust/trust_file.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 6> kRoleNames{"author",   "ledger", "map-author",
                                                     "reviewer", "sheet",  "withdrawal"};

void key_fields(Fields& field, TrustedKey& key) {
  field("id", key.id, kDigest);
  field("public_key", key.public_key, kHex32);
  field("name", key.name, kLine);
  field("roles", key.roles, List{Choice{kRoleNames}, kRoleNames.size()});
  field("jobs", key.jobs, List{kName, kScopeLimit});
  field("controllers", key.controllers, List{kName, kScopeLimit});
  field("region_maps", key.region_maps, List{kDigest, kScopeLimit});
  field("valid_from", key.valid_from, kTime);
  field("valid_until", key.valid_until, kMaybeTime);
  field("state", key.compromised, Choice{"active", "compromised"});
}

tl::unexpected<Error> invalid(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kTrustInvalid, name, std::move(place), std::move(found), std::move(expected),
               "do not use this trust file; ask the shop for a new one"});
}

template <typename List>
bool is_strictly_ascending(const List& list) {
  return std::adjacent_find(list.begin(), list.end(),
                            [](const auto& a, const auto& b) { return !(a < b); }) == list.end();
}

Status check_key(const TrustFile& trust, std::size_t index, const std::string& name) {
  const TrustedKey& key = trust.keys[index];
  const std::string place = "/keys/" + std::to_string(index);
  if (key.id != compute_key_id(key.public_key))
    return invalid(name, place + "/id", digest_text(key.id), "the id of its public key");
  if (index > 0 && !(trust.keys[index - 1].id < key.id))
    return invalid(name, place, "a key out of order or twice", "keys ascending by id");
  if (key.public_key == trust.root) return invalid(name, place, "the root", "signing keys only");
  if (key.roles.empty() || !is_strictly_ascending(key.roles)) {
    return invalid(name, place + "/roles", "no role, or roles out of order", "roles ascending, each once");
  }
  if (!is_strictly_ascending(key.jobs) || !is_strictly_ascending(key.controllers) ||
      !is_strictly_ascending(key.region_maps)) {
    return invalid(name, place, "a scope out of order", "scopes ascending, each entry once");
  }
  if (!key.valid_until.empty() && parse_time(key.valid_until) <= parse_time(key.valid_from)) {
    return invalid(name, place + "/valid_until", key.valid_until, "a time after " + key.valid_from);
  }
  return {};
}

Status check_heads(const TrustFile& trust, const std::string& name) {
  for (std::size_t i = 1; i < trust.ledger_heads.size(); ++i) {
    if (trust.ledger_heads[i - 1].size < trust.ledger_heads[i].size) continue;
    return invalid(name, "/ledger_heads/" + std::to_string(i), "a head out of order or a size twice",
                   "heads ascending by size");
  }
  return {};
}

}  // namespace

Status check_stated_root(const std::vector<PublicKey>& roots, std::string_view stated,
                         const std::string& name) {
  const auto digest = parse_digest(without_separators_around(stated));
  const SpokenReading heard = read_spoken_code(stated, Spoken::kKey);
  for (const PublicKey& root : roots) {
    const KeyId id = compute_key_id(root);
    if (digest ? *digest == id : heard.code == spoken_code(Spoken::kKey, id)) return {};
  }
  const std::string found = spoken_code(Spoken::kKey, compute_key_id(roots.back()));
  std::string expected = "\"" + printable(stated, 80) + "\": " + heard.fault;
  if (digest) {
    expected = spoken_code(Spoken::kKey, *digest);
  } else if (heard.fault.empty()) {
    expected = heard.code + ": " + spoken_difference(found, heard.code);
  }
  return fail({Reason::kRootMismatch, name, "root", found, std::move(expected),
               "compare the fingerprint again with the shop, by telephone or in person"});
}

std::string_view role_name(Role role) { return kRoleNames[static_cast<std::size_t>(role)]; }

bool TrustedKey::has_role(Role role) const {
  return std::find(roles.begin(), roles.end(), role) != roles.end();
}

const TrustedKey* TrustFile::find(const KeyId& id) const {
  const auto it = std::find_if(keys.begin(), keys.end(), [&](const TrustedKey& key) { return key.id == id; });
  return it == keys.end() ? nullptr : &*it;
}

void trust_fields(Fields& field, TrustFile& trust) {
  field.kind_of_file("trust/1");
  field("version", trust.version, Integer{1});
  field("shop", trust.shop, kLine);
  field("root", trust.root, kHex32);
  field("claimed_time", trust.claimed_time, kTime);
  field("next_root", trust.next_root, kMaybeDigest);
  field("ledger_heads", trust.ledger_heads, List{Record{tree_head_fields}, kLedgerHeadLimit});
  field.object("policy", [&](Fields& policy) {
    policy("threshold", trust.threshold, Integer{1, kThresholdLimit});
  });
  field("keys", trust.keys, List{Record{key_fields}, kTrustKeyLimit});
}

std::string write_trust_text(const TrustFile& trust) { return canonical_text(trust, trust_fields); }

Result<TrustFile> parse_trust_file(ByteView file, std::string_view stated_root, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kTrustLiteral, kTrustFileSizeLimit, Reason::kTrustInvalid, name));
  CALSEAL_ASSIGN(TrustFile trust,
                 parse_canonical_text(statement.signed_bytes, Reason::kTrustInvalid, trust_fields, name));
  CALSEAL_CHECK(check_public_key(trust.root, name));
  if (!stated_root.empty()) CALSEAL_CHECK(check_stated_root({trust.root}, stated_root, name));
  const KeyId root_id = compute_key_id(trust.root);
  if (statement.signatures.size() != 1 || statement.signatures[0].key_id != root_id) {
    return invalid(name, "line 2", "other signatures", "exactly one, by the root " + digest_text(root_id));
  }
  if (!verify_signature(trust.root, statement.signed_bytes, statement.signatures[0].signature)) {
    return invalid(name, "line 2", "a signature that does not verify",
                   "the root's signature over the first line");
  }
  for (const TrustedKey& key : trust.keys) CALSEAL_CHECK(check_public_key(key.public_key, name));
  for (std::size_t i = 0; i < trust.keys.size(); ++i) CALSEAL_CHECK(check_key(trust, i, name));
  CALSEAL_CHECK(check_heads(trust, name));
  return trust;
}

}  // namespace calseal
