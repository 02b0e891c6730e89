// SHA-256 and HMAC against OpenSSL's one-shot functions: they share the block function with us, but not the
// streaming, the fetching or the handling of keys, which is what is ours here.
#include <gtest/gtest.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/sha.h>

#include <algorithm>

#include "calseal/digest/sha256.h"
#include "support/random.h"

namespace calseal {
namespace {

TEST(Sha256Property, AgreesWithTheOneShotFunctionAtEveryLengthUpTo300) {
  Random random;
  const Bytes data = random.bytes(400);
  for (std::size_t length = 0; length <= 300; ++length) {
    const ByteView piece = ByteView(data).subspan(length % 64, length);
    Sha256 peer;
    SHA256(piece.data(), piece.size(), peer.bytes.data());
    ASSERT_EQ(compute_sha256(piece), peer) << length;
  }
}

TEST(Sha256Property, SplittingAnywhereGivesTheSameDigest) {
  Random random;
  Sha256Hasher hasher;
  for (int round = 0; round < 100; ++round) {
    const Bytes data = random.bytes(random.between(0, 20000));
    Sha256 peer;
    SHA256(data.data(), data.size(), peer.bytes.data());
    for (ByteView left = data; !left.empty();) {
      const std::size_t piece = random.between(0, std::min<std::size_t>(left.size(), 3000));
      hasher.update(left.first(piece));
      left = left.subspan(piece);
    }
    ASSERT_EQ(hasher.finish(), peer) << data.size();
  }
}

TEST(HmacProperty, AgreesWithTheOneShotFunctionForEveryKeyLength) {
  Random random;
  for (std::size_t key_size = 0; key_size <= 200; ++key_size) {
    const Bytes key = random.bytes(key_size + 1);
    const ByteView used = ByteView(key).first(key_size);
    const Bytes data = random.bytes(random.between(0, 300));
    Sha256 peer;
    unsigned int size = 0;
    HMAC(EVP_sha256(), key.data(), static_cast<int>(key_size), data.data(), data.size(), peer.bytes.data(),
         &size);
    ASSERT_EQ(size, peer.bytes.size());
    ASSERT_EQ(compute_hmac_sha256(used, data), peer) << key_size;
  }
}

TEST(HmacProperty, AnEmptyKeyIsNotTheKeyOfLastTime) {
  Random random;
  const Bytes data = random.bytes(50);
  const Bytes key = random.bytes(20);
  const Sha256 before = compute_hmac_sha256({}, data);
  EXPECT_NE(compute_hmac_sha256(key, data), before);
  EXPECT_EQ(compute_hmac_sha256({}, data), before);
  EXPECT_EQ(compute_hmac_sha256(Bytes(64, 0), data), before);  // RFC 2104: short keys are filled up with 00
}

TEST(Sha256Property, TextAndBack) {
  Random random;
  for (int round = 0; round < 50; ++round) {
    const Sha256 digest = compute_sha256(random.bytes(random.between(0, 10)));
    ASSERT_EQ(parse_digest(digest_text(digest)), digest);
  }
}

}  // namespace
}  // namespace calseal
