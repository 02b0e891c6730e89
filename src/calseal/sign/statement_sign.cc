#include "calseal/sign/statement_sign.h"

#include <algorithm>

#include "calseal/bundle/manifest.h"
#include "calseal/trust/statement.h"

namespace calseal {

Result<std::string> sign_statement(std::string_view signed_text, const SigningKeys& keys) {
  const auto wrong_use = [](std::string found, std::string expected) {
    return fail({Reason::kUsage, "", "signatures", std::move(found), std::move(expected),
                 "give each signing key once"});
  };
  if (keys.empty() || keys.size() > kSignatureLimit) {
    return wrong_use(std::to_string(keys.size()) + " keys", "from 1 to " + std::to_string(kSignatureLimit));
  }
  if (signed_text.find('\n') != std::string_view::npos) {
    return fail({Reason::kInternal, "", "statement", "a line feed in the signed text", "one line",
                 "report this fault"});
  }
  std::vector<PrefixSignature> signatures;
  for (const PrivateKey& key : keys) {
    const auto same = [&](const PrefixSignature& other) { return other.key_id == key.id(); };
    if (std::any_of(signatures.begin(), signatures.end(), same))
      return wrong_use("one key twice", "different keys");
    CALSEAL_ASSIGN(const PrefixSignature signature, key.sign(view_of(signed_text)));
    signatures.push_back(signature);
  }
  return write_statement(signed_text, std::move(signatures));
}

Result<std::string> seal_trust_file(const TrustFile& trust, const PrivateKey& root) {
  if (root.public_key() != trust.root) {
    return fail({Reason::kTrustInvalid, "", "root", "key " + digest_text(root.id()),
                 "the root that the trust file names", "sign with the root's private key"});
  }
  CALSEAL_ASSIGN(std::string file, sign_statement(write_trust_text(trust), {root}));
  CALSEAL_CHECK(parse_trust_file(view_of(file), digest_text(root.id()), ""));
  return file;
}

}  // namespace calseal
