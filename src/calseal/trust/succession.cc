#include "calseal/trust/succession.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

tl::unexpected<Error> succession_invalid(const std::string& name, std::string place, std::string found,
                                         std::string expected) {
  return fail({Reason::kSuccessionInvalid, name, std::move(place), std::move(found), std::move(expected),
               "do not believe the new root; ask the shop, by telephone or in person"});
}

Status check_announcement(const TrustFile& old_trust, const PublicKey& new_root, const std::string& name) {
  const KeyId id = compute_key_id(new_root);
  if (old_trust.next_root == id && new_root != old_trust.root) return {};
  return succession_invalid(
      name, "/new_root", spoken_code(Spoken::kKey, id),
      old_trust.next_root
          ? "the root that the old trust file announces: " + spoken_code(Spoken::kKey, *old_trust.next_root)
          : "a root that the old trust file announces; it announces none");
}

Status check_signatures(const Statement& statement, const PublicKey& old_root, const PublicKey& new_root,
                        const std::string& name) {
  const auto& signatures = statement.signatures;
  for (const PublicKey& root : {old_root, new_root}) {
    const KeyId id = compute_key_id(root);
    const auto it = std::find_if(signatures.begin(), signatures.end(),
                                 [&](const PrefixSignature& one) { return one.key_id == id; });
    if (signatures.size() != 2 || it == signatures.end()) {
      return succession_invalid(name, "signatures",
                                std::to_string(signatures.size()) + " of them, or of other keys",
                                "exactly two, by the old and by the new root");
    }
    if (!verify_signature(root, statement.signed_bytes, it->signature)) {
      return succession_invalid(name, "signature of " + digest_text(id), "a signature that does not verify",
                                "the signature of this root over the first line");
    }
  }
  return {};
}

}  // namespace

std::vector<PublicKey> TrustChain::roots() const {
  std::vector<PublicKey> roots;
  for (const Succession& step : steps) roots.push_back(step.old_trust.root);
  roots.push_back(trust.root);
  return roots;
}

void succession_fields(Fields& field, Succession& succession) {
  field.kind_of_file("succession/1");
  field("old_trust", succession.old_trust_text, Text{kTrustFileSizeLimit});
  field("new_root", succession.new_root, kHex32);
  field("claimed_time", succession.claimed_time, kTime);
  field("reason", succession.reason, kLine);
}

std::string write_succession_text(const Succession& succession) {
  return canonical_text(succession, succession_fields);
}

Result<Succession> parse_succession(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement, read_statement(file, kSuccessionLiteral, kSuccessionSizeLimit,
                                                           Reason::kSuccessionInvalid, name));
  CALSEAL_ASSIGN(
      Succession succession,
      parse_canonical_text(statement.signed_bytes, Reason::kSuccessionInvalid, succession_fields, name));
  CALSEAL_CHECK(check_public_key(succession.new_root, name));
  Result<TrustFile> old_trust = parse_trust_file(view_of(succession.old_trust_text), "", name);
  if (!old_trust) {
    Error error = std::move(old_trust).error();
    error.reason = Reason::kSuccessionInvalid;
    error.place = "/old_trust, " + error.place;
    return fail(std::move(error));
  }
  succession.old_trust = *std::move(old_trust);
  CALSEAL_CHECK(check_announcement(succession.old_trust, succession.new_root, name));
  CALSEAL_CHECK(check_signatures(statement, succession.old_trust.root, succession.new_root, name));
  return succession;
}

Result<TrustChain> parse_trust_chain(const NamedBytes& trust, const std::vector<NamedBytes>& successions,
                                     std::string_view stated_root) {
  TrustChain chain;
  // Without steps there is one root, and the order of a trust file's own checks holds.
  const std::string_view stated_here = successions.empty() ? stated_root : std::string_view();
  CALSEAL_ASSIGN(chain.trust, parse_trust_file(trust.bytes, stated_here, trust.name));
  const std::string_view file = text_of(trust.bytes);
  chain.text = file.substr(0, file.find('\n'));
  if (successions.size() > kSuccessionStepLimit) {
    return succession_invalid(successions[kSuccessionStepLimit].name, "",
                              std::to_string(successions.size()) + " steps",
                              "at most " + std::to_string(kSuccessionStepLimit));
  }
  std::vector<PublicKey> roots;
  for (const NamedBytes& one : successions) {
    CALSEAL_ASSIGN(Succession step, parse_succession(one.bytes, one.name));
    if (roots.empty()) roots.push_back(step.old_trust.root);
    if (step.old_trust.root != roots.back()) {
      return succession_invalid(one.name, "/old_trust",
                                spoken_code(Spoken::kKey, compute_key_id(step.old_trust.root)),
                                "the root that the step before leads to: " +
                                    spoken_code(Spoken::kKey, compute_key_id(roots.back())));
    }
    if (std::find(roots.begin(), roots.end(), step.new_root) != roots.end()) {
      return succession_invalid(one.name, "/new_root",
                                spoken_code(Spoken::kKey, compute_key_id(step.new_root)),
                                "a root that was none before");
    }
    roots.push_back(step.new_root);
    chain.steps.push_back(std::move(step));
  }
  if (roots.empty()) return chain;
  if (roots.back() != chain.trust.root) {
    return succession_invalid(
        successions.back().name, "/new_root", spoken_code(Spoken::kKey, compute_key_id(roots.back())),
        "the root of the trust file: " + spoken_code(Spoken::kKey, compute_key_id(chain.trust.root)));
  }
  if (!stated_root.empty()) CALSEAL_CHECK(check_stated_root(roots, stated_root, trust.name));
  return chain;
}

}  // namespace calseal
