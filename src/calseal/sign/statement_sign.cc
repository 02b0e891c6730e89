#include "calseal/sign/statement_sign.h"

#include "calseal/bundle/manifest.h"
#include "calseal/trust/statement.h"
#include "calseal/trust/succession.h"

namespace calseal {

Status check_signing_keys(const SigningKeys& keys) {
  const auto wrong = [](std::string found) {
    return fail({Reason::kUsage, "", "keys", std::move(found),
                 "from 1 to " + std::to_string(kSignatureLimit) + " different keys",
                 "name each signing key once"});
  };
  if (keys.empty() || keys.size() > kSignatureLimit) return wrong(std::to_string(keys.size()) + " keys");
  for (std::size_t i = 0; i < keys.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      if (keys[i].get().id() == keys[j].get().id())
        return wrong("key " + digest_text(keys[i].get().id()) + " twice");
    }
  }
  return {};
}

Result<std::string> sign_statement(std::string_view signed_text, const SigningKeys& keys) {
  CALSEAL_CHECK(check_signing_keys(keys));
  if (signed_text.find('\n') != std::string_view::npos) {
    return fail({Reason::kInternal, "", "statement", "a line feed in the signed text", "one line",
                 "report this fault"});
  }
  std::vector<PrefixSignature> signatures;
  for (const PrivateKey& key : keys) {
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

Result<std::string> seal_succession(const std::string& old_trust_text, const std::string& claimed_time,
                                    const std::string& reason, const PrivateKey& old_root,
                                    const PrivateKey& new_root) {
  Succession succession;
  succession.old_trust_text = old_trust_text;
  succession.new_root = new_root.public_key();
  succession.claimed_time = claimed_time;
  succession.reason = reason;
  CALSEAL_ASSIGN(std::string file, sign_statement(write_succession_text(succession), {old_root, new_root}));
  CALSEAL_CHECK(parse_succession(view_of(file), ""));
  return file;
}

}  // namespace calseal
