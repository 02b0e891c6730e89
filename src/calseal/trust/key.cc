#include "calseal/trust/key.h"

#include <openssl/evp.h>

#include <algorithm>
#include <memory>

#include "calseal/base/base64.h"
#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"

namespace calseal {
namespace {

using Coordinate = std::array<std::uint8_t, 32>;  // little-endian

// SubjectPublicKeyInfo up to the key: sequence, algorithm 1.3.101.112, bit string of 33 bytes with no unused
// bit.
constexpr std::array<std::uint8_t, 12> kSpkiStart{0x30, 0x2a, 0x30, 0x05, 0x06, 0x03,
                                                  0x2b, 0x65, 0x70, 0x03, 0x21, 0x00};

constexpr std::string_view kPemBegin = "-----BEGIN PUBLIC KEY-----\n";
constexpr std::string_view kPemEnd = "\n-----END PUBLIC KEY-----\n";
constexpr std::size_t kPemBodySize = 60;  // base64 of 44 bytes

// L = 2^252 + 27742317777372353535851937790883648493, RFC 8032 section 5.1.
constexpr Coordinate kGroupOrder{0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58, 0xd6, 0x9c, 0xf7,
                                 0xa2, 0xde, 0xf9, 0xde, 0x14, 0,    0,    0,    0,    0,    0,
                                 0,    0,    0,    0,    0,    0,    0,    0,    0,    0x10};

// 2^255 - 19
constexpr Coordinate make_field_prime() {
  Coordinate prime{};
  for (auto& byte : prime) byte = 0xff;
  prime[0] = 0xed;
  prime[31] = 0x7f;
  return prime;
}

// The y coordinates of the points of order 1, 4, 2 and 8 (two of them), reduced. Order 8: the square roots in
// question follow from the curve equation; checked against published lists in the tests.
constexpr std::array<Coordinate, 5> make_small_order() {
  std::array<Coordinate, 5> small{};
  small[0][0] = 1;
  small[2] = make_field_prime();
  small[2][0] = 0xec;
  small[3] = {0x26, 0xe8, 0x95, 0x8f, 0xc2, 0xb2, 0x27, 0xb0, 0x45, 0xc3, 0xf4, 0x89, 0xf2, 0xef, 0x98, 0xf0,
              0xd5, 0xdf, 0xac, 0x05, 0xd3, 0xc6, 0x33, 0x39, 0xb1, 0x38, 0x02, 0x88, 0x6d, 0x53, 0xfc, 0x05};
  small[4] = {0xc7, 0x17, 0x6a, 0x70, 0x3d, 0x4d, 0xd8, 0x4f, 0xba, 0x3c, 0x0b, 0x76, 0x0d, 0x10, 0x67, 0x0f,
              0x2a, 0x20, 0x53, 0xfa, 0x2c, 0x39, 0xcc, 0xc6, 0x4e, 0xc7, 0xfd, 0x77, 0x92, 0xac, 0x03, 0x7a};
  return small;
}

constexpr Coordinate kFieldPrime = make_field_prime();
constexpr std::array<Coordinate, 5> kSmallOrder = make_small_order();

bool is_below(const Coordinate& a, const Coordinate& b) {
  return std::lexicographical_compare(a.rbegin(), a.rend(), b.rbegin(), b.rend());
}

Coordinate y_of(const PublicKey& key) {
  Coordinate y = key.bytes;
  y[31] &= 0x7f;  // the top bit is the sign of x
  return y;
}

bool is_of_small_order(const PublicKey& key) {
  return std::find(kSmallOrder.begin(), kSmallOrder.end(), y_of(key)) != kSmallOrder.end();
}

bool is_reduced(const PublicKey& key) { return is_below(y_of(key), kFieldPrime); }

struct FreeKey {
  void operator()(EVP_PKEY* key) const { EVP_PKEY_free(key); }
};
struct FreeContext {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};

// Line ends as LF, the last one present.
std::string with_plain_line_ends(std::string_view text) {
  std::string plain;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\r' && i + 1 < text.size() && text[i + 1] == '\n') continue;
    plain.push_back(text[i]);
  }
  if (!plain.ends_with('\n')) plain.push_back('\n');
  return plain;
}

}  // namespace

std::array<std::uint8_t, 44> subject_public_key_info(const PublicKey& key) {
  std::array<std::uint8_t, 44> info{};
  std::copy(key.bytes.begin(), key.bytes.end(),
            std::copy(kSpkiStart.begin(), kSpkiStart.end(), info.begin()));
  return info;
}

KeyId compute_key_id(const PublicKey& key) { return compute_sha256(subject_public_key_info(key)); }

Status check_public_key(const PublicKey& key, const std::string& name) {
  const bool small = is_of_small_order(key);
  if (!small && is_reduced(key)) return {};
  return fail({Reason::kKeyWeak, name, "public key " + to_hex(key.bytes),
               small ? "a point of small order" : "a coordinate that is not reduced",
               "a key that an Ed25519 key generator made",
               "do not use this key, and ask where it comes from"});
}

bool verify_signature(const PublicKey& key, ByteView message, ByteView signature) {
  if (signature.size() != kSignatureSize || is_of_small_order(key) || !is_reduced(key)) return false;
  Coordinate s{};
  std::copy(signature.begin() + 32, signature.end(), s.begin());
  if (!is_below(s, kGroupOrder)) return false;
  const std::unique_ptr<EVP_PKEY, FreeKey> public_key(
      EVP_PKEY_new_raw_public_key(EVP_PKEY_ED25519, nullptr, key.bytes.data(), key.bytes.size()));
  const std::unique_ptr<EVP_MD_CTX, FreeContext> context(EVP_MD_CTX_new());
  if (public_key == nullptr || context == nullptr) return false;
  if (EVP_DigestVerifyInit(context.get(), nullptr, nullptr, nullptr, public_key.get()) != 1) return false;
  // An empty message still needs an address.
  const std::uint8_t nothing = 0;
  const std::uint8_t* const data = message.empty() ? &nothing : message.data();
  return EVP_DigestVerify(context.get(), signature.data(), signature.size(), data, message.size()) == 1;
}

std::string public_key_pem(const PublicKey& key) {
  return std::string(kPemBegin) + to_base64(subject_public_key_info(key)) + std::string(kPemEnd);
}

Result<PublicKey> parse_public_key_pem(ByteView text, const std::string& name) {
  const auto refuse = [&name](std::string found) {
    return fail({Reason::kKeyFileInvalid, name, "", std::move(found),
                 "an Ed25519 public key in PEM (RFC 8410)", "check that this is the public key file"});
  };
  if (text.size() > kPublicKeyFileLimit) return refuse(grouped(text.size()) + " bytes");
  const std::string pem = with_plain_line_ends(text_of(text));
  if (!pem.starts_with(kPemBegin)) return refuse("\"" + printable(pem.substr(0, 30)) + "\" at the beginning");
  if (pem.size() != kPemBegin.size() + kPemBodySize + kPemEnd.size())
    return refuse("a block of another length");
  std::array<std::uint8_t, 45> decoded{};
  const auto* const body = reinterpret_cast<const unsigned char*>(pem.data() + kPemBegin.size());
  if (EVP_DecodeBlock(decoded.data(), body, static_cast<int>(kPemBodySize)) !=
      static_cast<int>(decoded.size())) {
    return refuse("text that is not base64");
  }
  PublicKey key;
  std::copy_n(decoded.begin() + kSpkiStart.size(), key.bytes.size(), key.bytes.begin());
  // Writing it again and comparing proves label, algorithm and padding in one step.
  if (pem != public_key_pem(key)) return refuse("another kind of key, or damaged text");
  CALSEAL_CHECK(check_public_key(key, name));
  return key;
}

}  // namespace calseal
