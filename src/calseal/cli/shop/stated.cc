#include "calseal/cli/shop/stated.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/shop/passphrase.h"
#include "calseal/trust/approval.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {

Error usage_error(std::string place, std::string found, std::string expected, std::string next) {
  return {Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)};
}

Result<UtcTime> stated_time(const std::string& text, const std::string& option) {
  if (text.empty()) return current_time();
  if (const auto time = parse_time(text)) return *time;
  return fail(usage_error(option, "\"" + printable(text, 60) + "\"", "a time like 2026-01-31T12:00:00Z",
                          "write the time in UTC, in this form"));
}

Result<Sha256> stated_digest(const std::string& text, const std::string& option) {
  if (const auto digest = parse_digest(text)) return *digest;
  return fail(usage_error(option, "\"" + printable(text, 80) + "\"", "64 lower-case hexadecimal digits",
                          "copy it whole"));
}

Result<KeyId> stated_key(const std::string& text, const TrustFile& trust) {
  if (const auto id = parse_digest(text)) return *id;
  const SpokenReading heard = read_spoken_code(text, Spoken::kKey);
  for (const TrustedKey& key : trust.keys) {
    if (heard.code == spoken_code(Spoken::kKey, key.id)) return key.id;
  }
  const Result<PublicKey> key = load_public_key(text);
  if (key) return compute_key_id(*key);
  if (key.error().reason != Reason::kFileMissing || !looks_spoken(text)) return fail(key.error());
  return fail(usage_error(
      "KEY", "\"" + printable(text, 80) + "\"",
      "the fingerprint of a key of this trust file" + (heard.fault.empty() ? "" : "; here " + heard.fault),
      "see calseal shop show for its keys"));
}

Result<LoadedTrust> load_trust(const std::string& path) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kTrustFileSizeLimit));
  LoadedTrust loaded;
  CALSEAL_ASSIGN(loaded.trust, parse_trust_file(bytes, "", printable(path)));
  loaded.text = text_of(bytes);
  return loaded;
}

Result<std::vector<NamedBytes>> load_approvals(const std::vector<std::string>& paths) {
  std::vector<NamedBytes> approvals;
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kApprovalSizeLimit));
    approvals.push_back({printable(path), std::move(bytes)});
  }
  return approvals;
}

Result<PublicKey> load_public_key(const std::string& path) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kPublicKeyFileLimit));
  return parse_public_key_pem(bytes, printable(path));
}

Result<PrivateKey> load_key(const std::string& path, const std::string& passphrase_file) {
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(passphrase_file, printable(path), PassphraseUse::kOpen));
  Result<PrivateKey> key = read_private_key(path, passphrase);
  wipe(passphrase);
  return key;
}

Result<std::vector<PrivateKey>> load_keys(const std::vector<std::string>& paths,
                                          const std::string& passphrase_file) {
  if (paths.empty()) return std::vector<PrivateKey>();
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(passphrase_file, printable(paths.front()), PassphraseUse::kOpen));
  Result<std::vector<PrivateKey>> keys = read_private_keys(paths, passphrase);
  wipe(passphrase);
  return keys;
}

Result<SigningKeys> KeysOnDemand::open() {
  if (keys_.empty()) {
    CALSEAL_ASSIGN(keys_, load_keys(paths_, passphrase_file_));
  }
  return SigningKeys(keys_.begin(), keys_.end());
}

}  // namespace calseal
