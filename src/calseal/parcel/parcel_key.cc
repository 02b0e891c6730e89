#include "calseal/parcel/parcel_key.h"

#include <openssl/evp.h>

#include <algorithm>
#include <array>

#include "calseal/base/base64.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::string_view kBegin = "-----BEGIN PUBLIC KEY-----\n";
constexpr std::string_view kEnd = "\n-----END PUBLIC KEY-----\n";
constexpr std::size_t kBodySize = 60;  // 44 bytes in base64
// Everything before the key in its SubjectPublicKeyInfo (RFC 8410 section 4): 1.3.101.110.
constexpr std::array<std::uint8_t, 12> kStart{0x30, 0x2a, 0x30, 0x05, 0x06, 0x03,
                                              0x2b, 0x65, 0x6e, 0x03, 0x21, 0x00};

std::array<std::uint8_t, 44> key_info(const ParcelKey& key) {
  std::array<std::uint8_t, 44> info{};
  std::copy(kStart.begin(), kStart.end(), info.begin());
  std::copy(key.bytes.begin(), key.bytes.end(), info.begin() + kStart.size());
  return info;
}

}  // namespace

std::string parcel_key_pem(const ParcelKey& key) {
  return std::string(kBegin) + to_base64(key_info(key)) + std::string(kEnd);
}

Result<ParcelKey> parse_parcel_key_pem(ByteView text, const std::string& name) {
  const std::string_view pem = text_of(text);
  const auto refuse = [&](std::string found) {
    return fail({Reason::kKeyFileInvalid, name, "", std::move(found),
                 "an X25519 public key in PEM (RFC 8410)",
                 "give the .pub file that calseal key new --for parcels made"});
  };
  if (pem.size() != kBegin.size() + kBodySize + kEnd.size() || !pem.starts_with(kBegin))
    return refuse("\"" + printable(pem.substr(0, 30)) + "\" at the beginning, " + bytes_text(pem.size()));
  std::array<std::uint8_t, 45> decoded{};
  if (EVP_DecodeBlock(decoded.data(), text.data() + kBegin.size(), static_cast<int>(kBodySize)) !=
      static_cast<int>(decoded.size()))
    return refuse("text that is not base64");
  ParcelKey key;
  std::copy_n(decoded.begin() + kStart.size(), key.bytes.size(), key.bytes.begin());
  // Writing it again and comparing proves label, algorithm and padding in one step.
  if (pem != parcel_key_pem(key)) return refuse("another kind of key, or damaged text");
  if (!is_of_small_order(key)) return key;
  return fail({Reason::kKeyWeak, name, "", "a point of small order", "a key that somebody made",
               "make one with calseal key new --for parcels"});
}

Sha256 parcel_key_id(const ParcelKey& key) { return compute_sha256(key_info(key)); }

}  // namespace calseal
