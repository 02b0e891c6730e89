#include "calseal/trust/signers.h"

#include <optional>

#include "calseal/base/text.h"

namespace calseal {
namespace {

// Quoted everywhere, so that an error names both the key and its holder.
std::string key_text(const TrustedKey& key) {
  return printable(key.name, 60) + " (key " + digest_text(key.id) + ")";
}

// Claimed times are compared as their texts are: 20 characters, ascending.
bool is_valid_at(const TrustedKey& key, const std::string& time) {
  return key.valid_from <= time && (key.valid_until.empty() || time < key.valid_until);
}

std::string statement_place(const KeyId& id) { return "signature of " + digest_text(id); }

// "all jobs" or the one that is not in the scope; nothing when the subject is.
std::optional<std::string> outside_scope(const TrustedKey& key, const StatementSubject& subject) {
  if (!allows(key.jobs, subject.job)) return subject.job.empty() ? "all jobs" : "job " + subject.job;
  if (!allows(key.controllers, subject.controller))
    return subject.controller.empty() ? "all controllers" : "controller " + subject.controller;
  return std::nullopt;
}

}  // namespace

Result<Signers> verify_signers(ByteView signed_bytes, const std::vector<PrefixSignature>& signatures,
                               const TrustFile& trust, SignaturePlace place, const std::string& name) {
  Signers signers;
  for (const PrefixSignature& signature : signatures) {
    const TrustedKey* const key = trust.find(signature.key_id);
    if (key == nullptr) {
      return fail(
          {Reason::kSignerUnknown, name, place(signature.key_id), "a key that the trust file does not list",
           "keys of " + printable(trust.shop, 80) + ", trust file version " + std::to_string(trust.version),
           "ask the shop for its newest trust file; if the key is not in it, do not use this file"});
    }
    signers.push_back(key);
  }
  for (std::size_t i = 0; i < signers.size(); ++i) {
    if (verify_signature(signers[i]->public_key, signed_bytes, signatures[i].signature)) continue;
    return fail({Reason::kSignatureBad, name, place(signers[i]->id), "a signature that does not verify",
                 "the signature of " + key_text(*signers[i]) + " over these bytes",
                 "do not use this file; ask its sender for a new copy"});
  }
  return signers;
}

Status check_validity(const Signers& signers, const std::string& claimed_time, SignaturePlace place,
                      const std::string& name) {
  for (const TrustedKey* key : signers) {
    if (is_valid_at(*key, claimed_time)) continue;
    return fail({Reason::kKeyValidity, name, place(key->id), "claimed time " + claimed_time,
                 "from " + key->valid_from + (key->valid_until.empty() ? "" : ", before " + key->valid_until),
                 "ask the shop for its newest trust file or for one signed by a valid key"});
  }
  return {};
}

tl::unexpected<Error> refuse_compromised(const TrustedKey& key, SignaturePlace place, const std::string& name,
                                         std::string next) {
  return fail({Reason::kKeyCompromised, name, place(key.id), key_text(key) + ", compromised",
               "active keys only", std::move(next)});
}

tl::unexpected<Error> refuse_scope(const TrustedKey& key, std::string outside, SignaturePlace place,
                                   const std::string& name) {
  return fail({Reason::kKeyScope, name, place(key.id), std::move(outside),
               "what " + key_text(key) + " may sign", "ask the shop for one signed by a key for it"});
}

std::string signers_text(const Signers& signers) {
  std::string text;
  for (const TrustedKey* key : signers) {
    text += (text.empty() ? "" : "; ") + printable(key->name, 60) + ":";
    for (const Role role : key->roles) text += " " + std::string(role_name(role));
  }
  return text.empty() ? "no signer" : text;
}

Result<Signers> verify_statement(const Statement& statement, const TrustFile& trust,
                                 const std::string& name) {
  return verify_signers(statement.signed_bytes, statement.signatures, trust, statement_place, name);
}

Status judge_statement(const Signers& signers, Role role, const StatementSubject& subject,
                       const std::string& claimed_time, const std::string& name) {
  for (const TrustedKey* key : signers) {
    if (key->compromised)
      return refuse_compromised(*key, statement_place, name, "ask the shop for one signed by another key");
  }
  for (const TrustedKey* key : signers) {
    if (key->has_role(role)) continue;
    return fail({Reason::kRolesMissing, name, statement_place(key->id), signers_text({key}),
                 "signers with the role " + std::string(role_name(role)),
                 "ask the shop for one signed by a key with this role"});
  }
  for (const TrustedKey* key : signers) {
    if (auto outside = outside_scope(*key, subject))
      return refuse_scope(*key, *std::move(outside), statement_place, name);
  }
  return check_validity(signers, claimed_time, statement_place, name);
}

}  // namespace calseal
