// What a person states on the command line about times, keys and digests.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/sign/private_key.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

inline constexpr std::size_t kShownPathLimit = 16384;  // a program that reads a report needs whole names

// kUsage at the option `place`.
Error usage_error(std::string place, std::string found, std::string expected, std::string next);

// The time in `text`, or now where it is empty.
Result<UtcTime> stated_time(const std::string& text, const std::string& option = "--claimed-time");

// 64 lower-case digits.
Result<Sha256> stated_digest(const std::string& text, const std::string& option);

// A key of the trust file, named by its id, its fingerprint, or a public key file.
Result<KeyId> stated_key(const std::string& text, const TrustFile& trust);

// A trust file of the shop's own; nobody needs to state its root here, since the root's key signs the next.
struct LoadedTrust {
  TrustFile trust;
  std::string text;  // byte for byte
};
Result<LoadedTrust> load_trust(const std::string& path);

// Approvals of region maps, for sealing; they are judged there.
Result<std::vector<NamedBytes>> load_approvals(const std::vector<std::string>& paths);

Result<PublicKey> load_public_key(const std::string& path);

// One private key under its passphrase.
Result<PrivateKey> load_key(const std::string& path, const std::string& passphrase_file);

// Several under one passphrase, which is obtained once.
Result<std::vector<PrivateKey>> load_keys(const std::vector<std::string>& paths,
                                          const std::string& passphrase_file);

// Key files that are opened when there is something to sign.
class KeysOnDemand {
 public:
  KeysOnDemand(std::vector<std::string> paths, std::string passphrase_file)
      : paths_(std::move(paths)), passphrase_file_(std::move(passphrase_file)) {}
  // The same keys each time, which live as long as this; the errors of load_keys().
  Result<SigningKeys> open();

 private:
  std::vector<std::string> paths_;
  std::string passphrase_file_;
  std::vector<PrivateKey> keys_;
};

}  // namespace calseal
