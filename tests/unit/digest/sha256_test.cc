#include "calseal/digest/sha256.h"

#include <gmock/gmock.h>

#include <string>
#include <utility>

#include "support/vector_file.h"

namespace calseal {
namespace {

struct DigestRow {
  std::string name;
  Bytes message;
  std::string sha256;
};

void PrintTo(const DigestRow& row, std::ostream* out) { *out << row.name; }

DigestRow read_digest_row(JsonObject& object) {
  DigestRow row{object.text("name"), vector_message(object), object.text("sha256")};
  object.text("source");
  return row;
}

class PublishedSha256 : public ::testing::TestWithParam<DigestRow> {};

TEST_P(PublishedSha256, GivesThePublishedDigest) {
  EXPECT_EQ(digest_text(compute_sha256(GetParam().message)), GetParam().sha256);
  Sha256Hasher hasher;
  hasher.update(GetParam().message);
  EXPECT_EQ(digest_text(hasher.finish()), GetParam().sha256);
}

INSTANTIATE_TEST_SUITE_P(Vectors, PublishedSha256,
                         ::testing::ValuesIn(vector_rows<DigestRow>("sha256.json", "rows", read_digest_row)),
                         [](const auto& row) { return test_name(row.param.name); });

struct HmacRow {
  std::string name;
  Bytes key;
  Bytes message;
  std::string hmac;
};

void PrintTo(const HmacRow& row, std::ostream* out) { *out << row.name; }

HmacRow read_hmac_row(JsonObject& object) {
  return {object.text("name"), object.hex("key", 0, 1024), vector_message(object), object.text("hmac")};
}

class PublishedHmac : public ::testing::TestWithParam<HmacRow> {};

TEST_P(PublishedHmac, GivesThePublishedCode) {
  EXPECT_EQ(digest_text(compute_hmac_sha256(GetParam().key, GetParam().message)), GetParam().hmac);
}

INSTANTIATE_TEST_SUITE_P(Rfc4231, PublishedHmac,
                         ::testing::ValuesIn(vector_rows<HmacRow>("hmac_sha256.json", "rows", read_hmac_row)),
                         [](const auto& row) { return test_name(row.param.name); });

TEST(Sha256Hasher, EverySplitIntoThreePiecesGivesTheSameDigest) {
  const Bytes data(70, 0x35);  // over one block, so that pieces end on both sides of its edge
  const Sha256 whole = compute_sha256(data);
  const ByteView view = data;
  Sha256Hasher hasher;
  for (std::size_t first = 0; first <= data.size(); ++first) {
    for (std::size_t second = first; second <= data.size(); ++second) {
      hasher.update(view.first(first));
      hasher.update(view.subspan(first, second - first));
      hasher.update(view.subspan(second));
      ASSERT_EQ(hasher.finish(), whole) << first << " " << second;
    }
  }
}

TEST(Sha256Hasher, StartsAgainAfterFinish) {
  Sha256Hasher hasher;
  hasher.update(view_of("abc"));
  EXPECT_EQ(hasher.finish(), compute_sha256(view_of("abc")));
  EXPECT_EQ(hasher.finish(), compute_sha256({}));
}

TEST(Sha256Hasher, MovesWithItsState) {
  Sha256Hasher first;
  first.update(view_of("ab"));
  Sha256Hasher second(std::move(first));
  second.update(view_of("c"));
  EXPECT_EQ(second.finish(), compute_sha256(view_of("abc")));
}

TEST(ParseDigest, IsTheStrictInverseOfDigestText) {
  const Sha256 digest = compute_sha256(view_of("abc"));
  const std::string text = digest_text(digest);
  EXPECT_EQ(parse_digest(text), digest);
  for (const char wrong : {'B', 'g', ' ', '\n', '\0'}) {
    std::string changed = text;
    changed[0] = wrong;
    EXPECT_EQ(parse_digest(changed), std::nullopt) << int{wrong};
  }
  EXPECT_EQ(parse_digest(text.substr(1)), std::nullopt);
  EXPECT_EQ(parse_digest(text.substr(2)), std::nullopt);
  EXPECT_EQ(parse_digest(text + "0"), std::nullopt);
  EXPECT_EQ(parse_digest(text + "00"), std::nullopt);
  EXPECT_EQ(parse_digest(""), std::nullopt);
}

}  // namespace
}  // namespace calseal
