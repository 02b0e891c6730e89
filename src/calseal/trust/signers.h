// Who signed: what bundles and statements have in common when their signatures are judged.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/prefix.h"
#include "calseal/trust/statement.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// Keys of the trust file, in the order of the signatures; valid as long as the trust file is.
using Signers = std::vector<const TrustedKey*>;

// Where a file keeps the signature of a key; the place that errors name.
using SignaturePlace = std::string (*)(const KeyId& id);

// Looks up every key id (kSignerUnknown), then verifies every signature in file order (kSignatureBad).
Result<Signers> verify_signers(ByteView signed_bytes, const std::vector<PrefixSignature>& signatures,
                               const TrustFile& trust, SignaturePlace place, const std::string& name);

// Whether a scope of a key lets `item` through; an empty one lets everything.
template <typename Item>
bool allows(const std::vector<Item>& scope, const Item& item) {
  return scope.empty() || std::find(scope.begin(), scope.end(), item) != scope.end();
}

// kKeyValidity unless `claimed_time` lies within the validity of every signer.
Status check_validity(const Signers& signers, const std::string& claimed_time, SignaturePlace place,
                      const std::string& name);

// The refusals themselves, in the same words everywhere.
tl::unexpected<Error> refuse_compromised(const TrustedKey& key, SignaturePlace place, const std::string& name,
                                         std::string next);
tl::unexpected<Error> refuse_scope(const TrustedKey& key, std::string outside, SignaturePlace place,
                                   const std::string& name);

// "Author: author reviewer; Second: author", for errors about roles.
std::string signers_text(const Signers& signers);

// What a statement is about, for the scopes of its signers. Empty: all jobs, all controllers, which only a
// signer without such a scope may speak for.
struct StatementSubject {
  std::string job;
  std::string controller;
};

// verify_signers() over a statement: nothing in it is parsed before that.
Result<Signers> verify_statement(const Statement& statement, const TrustFile& trust, const std::string& name);

// Whether these may make a statement. In this order, each over all signers: active (kKeyCompromised), with
// the role (kRolesMissing), the subject in scope (kKeyScope), claimed time within validity (kKeyValidity).
// One signature is enough: the threshold of the policy is for bundles.
Status judge_statement(const Signers& signers, Role role, const StatementSubject& subject,
                       const std::string& claimed_time, const std::string& name);

}  // namespace calseal
