#include "calseal/trust/key.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/test_keys.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

PublicKey key_from(const Bytes& bytes) {
  PublicKey key;
  EXPECT_EQ(bytes.size(), key.bytes.size());
  std::copy(bytes.begin(), bytes.end(), key.bytes.begin());
  return key;
}

struct SignatureRow {
  std::string name;
  Bytes secret, public_key, message, signature;
};

struct SmallOrderRow {
  Bytes encoding;
  std::uint64_t order = 0;
  bool canonical = false;
};

// Reads ed25519.json whole, so that a list that nobody reads is noticed.
struct KeyVectors {
  std::vector<SignatureRow> good, bad;
  std::vector<SmallOrderRow> small;
  std::string group_order;
};

SignatureRow read_row(JsonObject& row) {
  SignatureRow out;
  out.name = row.text("name");
  if (row.has("secret")) out.secret = row.hex("secret", 32, 32);
  out.public_key = row.hex("public", 32, 32);
  out.message = row.hex("message", 0, 2048);
  out.signature = row.hex("signature", 0, 128);
  if (row.has("why")) row.text("why");
  if (row.has("library_accepts")) row.boolean("library_accepts");
  row.done();
  return out;
}

const KeyVectors& vectors() {
  static const KeyVectors kVectors = [] {
    KeyVectors out;
    const Result<Bytes> bytes = read_file(vector_path("ed25519.json"), 1 << 20);
    EXPECT_THAT(bytes, IsOk());
    const Status status = read_vector_text(
        std::string(text_of(bytes.value_or(Bytes()))), "ed25519.json", [&](JsonObject& root) {
          out.group_order = root.text("group_order");
          for (const JsonNode& node : root.items("vectors", 100)) {
            JsonObject row(node);
            out.good.push_back(read_row(row));
          }
          for (const JsonNode& node : root.items("must_reject", 100)) {
            JsonObject row(node);
            out.bad.push_back(read_row(row));
          }
          for (const JsonNode& node : root.items("small_order_public_keys", 100)) {
            JsonObject row(node);
            out.small.push_back(
                {row.hex("encoding", 32, 32), row.integer("order", 1, 8), row.boolean("canonical")});
            row.done();
          }
        });
    EXPECT_THAT(status, IsOk());
    return out;
  }();
  return kVectors;
}

TEST(Ed25519, PublishedSignaturesVerify) {
  ASSERT_EQ(vectors().good.size(), 5U);
  for (const SignatureRow& row : vectors().good) {
    EXPECT_TRUE(verify_signature(key_from(row.public_key), row.message, row.signature)) << row.name;
    EXPECT_EQ(TestKey(row.secret).public_key(), key_from(row.public_key)) << row.name;
    const PrefixSignature made = TestKey(row.secret).sign(row.message);
    EXPECT_EQ(Bytes(made.signature.begin(), made.signature.end()), row.signature) << row.name;
  }
}

TEST(Ed25519, EveryListedForgeryIsRefused) {
  ASSERT_EQ(vectors().bad.size(), 10U);
  for (const SignatureRow& row : vectors().bad) {
    EXPECT_FALSE(verify_signature(key_from(row.public_key), row.message, row.signature)) << row.name;
  }
}

TEST(Ed25519, EveryBitCounts) {
  const SignatureRow& row = vectors().good[2];
  const PublicKey key = key_from(row.public_key);
  for (std::size_t bit = 0; bit < 512; ++bit) {
    Bytes bent = row.signature;
    bent[bit / 8] = static_cast<std::uint8_t>(bent[bit / 8] ^ (1 << bit % 8));
    EXPECT_FALSE(verify_signature(key, row.message, bent)) << bit;
  }
}

// RFC 8032 section 5.1.7: S below the group order. S + L, S + 2L, ... as far as 32 bytes go.
TEST(Ed25519, SMustBeReduced) {
  const SignatureRow& row = vectors().good[1];
  const auto order = from_hex(vectors().group_order.substr(2));
  ASSERT_TRUE(order.has_value());
  Bytes bent = row.signature;
  for (int times = 1; times <= 15; ++times) {
    unsigned carry = 0;
    for (std::size_t i = 0; i < 32; ++i) {
      carry += bent[32 + i] + (*order)[31 - i];
      bent[32 + i] = static_cast<std::uint8_t>(carry);
      carry >>= 8;
    }
    if (carry != 0) break;
    EXPECT_FALSE(verify_signature(key_from(row.public_key), row.message, bent)) << times;
  }
}

TEST(Ed25519, SmallOrderKeysAreRefused) {
  ASSERT_EQ(vectors().small.size(), 14U);
  for (const SmallOrderRow& row : vectors().small) {
    EXPECT_THAT(check_public_key(key_from(row.encoding), "k"), FailsWith(Reason::kKeyWeak))
        << to_hex(row.encoding);
  }
}

TEST(Ed25519, UnreducedKeysAreRefused) {
  PublicKey key;
  key.bytes.fill(0xff);
  for (int low = 0xed; low <= 0xff; ++low) {
    key.bytes[0] = static_cast<std::uint8_t>(low);
    for (const int top : {0x7f, 0xff}) {
      key.bytes[31] = static_cast<std::uint8_t>(top);
      EXPECT_THAT(check_public_key(key, "k"), FailsWith(Reason::kKeyWeak)) << low;
    }
  }
  key.bytes[0] = 0xeb;  // the largest y that is reduced and not of small order
  EXPECT_THAT(check_public_key(key, "k"), IsOk());
}

TEST(Ed25519, GeneratedKeysAreNotWeak) {
  for (int value = 0; value < 256; ++value) {
    EXPECT_THAT(check_public_key(TestKey(static_cast<std::uint8_t>(value)).public_key(), "k"), IsOk());
  }
}

TEST(PublicKeyFile, IsWhatOtherSoftwareReadsAndWrites) {
  const ScratchFolder folder;
  const PublicKey key = TestKey(7).public_key();
  const std::string pem = public_key_pem(key);
  EXPECT_THAT(parse_public_key_pem(view_of(pem), "k"), IsOkAnd(key));
  folder.put("key.pem", view_of(pem));
  ASSERT_EQ(
      run_tool("openssl pkey -pubin -in " + folder.path("key.pem") + " -out " + folder.path("again.pem")), 0);
  EXPECT_EQ(folder.text("again.pem"), pem);
  ASSERT_EQ(run_tool("openssl pkey -pubin -outform DER -in " + folder.path("key.pem") + " -out " +
                     folder.path("key.der")),
            0);
  EXPECT_EQ(compute_key_id(key), compute_sha256(view_of(folder.text("key.der"))));
}

TEST(PublicKeyFile, LineEndsMayDiffer) {
  const PublicKey key = TestKey(7).public_key();
  const std::string pem = public_key_pem(key);
  std::string windows;
  for (const char c : pem) windows += c == '\n' ? std::string("\r\n") : std::string(1, c);
  EXPECT_THAT(parse_public_key_pem(view_of(windows), "k"), IsOkAnd(key));
  EXPECT_THAT(parse_public_key_pem(view_of(pem.substr(0, pem.size() - 1)), "k"), IsOkAnd(key));
}

TEST(PublicKeyFile, AnythingElseIsRefused) {
  const std::string pem = public_key_pem(TestKey(7).public_key());
  EXPECT_THAT(parse_public_key_pem({}, "k"), FailsWith(Reason::kKeyFileInvalid));
  EXPECT_THAT(parse_public_key_pem(view_of(pem + pem), "k"), FailsWith(Reason::kKeyFileInvalid));
  EXPECT_THAT(parse_public_key_pem(view_of(" " + pem), "k"), FailsWith(Reason::kKeyFileInvalid));
  EXPECT_THAT(parse_public_key_pem(Bytes(5000, '-'), "k"), FailsWith(Reason::kKeyFileInvalid));
  for (std::size_t i = 0; i < pem.size(); ++i) {
    if (i + 1 < pem.size()) {
      EXPECT_THAT(parse_public_key_pem(view_of(pem.substr(0, i)), "k"), FailsWith(Reason::kKeyFileInvalid))
          << i;
    }
    std::string bent = pem;
    bent[i] = '!';
    EXPECT_THAT(parse_public_key_pem(view_of(bent), "k"), FailsWith(Reason::kKeyFileInvalid)) << i;
  }
  PublicKey weak;
  EXPECT_THAT(parse_public_key_pem(view_of(public_key_pem(weak)), "k"), FailsWith(Reason::kKeyWeak));
  const ScratchFolder folder;
  ASSERT_EQ(run_tool("openssl genpkey -algorithm X25519 -out " + folder.path("x") + " && openssl pkey -in " +
                     folder.path("x") + " -pubout -out " + folder.path("x.pub")),
            0);
  EXPECT_THAT(parse_public_key_pem(view_of(folder.text("x.pub")), "k"), FailsWith(Reason::kKeyFileInvalid));
}

}  // namespace
}  // namespace calseal
