// Digests that many bases share: found under what they were kept, bounded, and believed by a proof, so only
// ever kept for bytes that were proved.
#include "calseal/check/span_digests.h"

#include <gtest/gtest.h>

#include "calseal/check/base_proof.h"
#include "calseal/sign/edited_image.h"
#include "support/matchers.h"
#include "support/small_job.h"

namespace calseal {
namespace {

Sha256 numbered(std::uint64_t number) { return compute_sha256(view_of(std::to_string(number))); }

TEST(SpanDigests, AreFoundUnderContentAndPart) {
  SpanDigests digests;
  EXPECT_FALSE(digests.find(numbered(1), {0, 4}));
  digests.keep(numbered(1), {0, 4}, numbered(2));
  EXPECT_EQ(digests.find(numbered(1), {0, 4}), numbered(2));
  EXPECT_FALSE(digests.find(numbered(1), {0, 5}));
  EXPECT_FALSE(digests.find(numbered(1), {1, 4}));
  EXPECT_FALSE(digests.find(numbered(2), {0, 4}));
}

TEST(SpanDigests, BeginAnewWhenFull) {
  SpanDigests digests;
  constexpr std::uint64_t kMany = 100'000;
  for (std::uint64_t i = 0; i < kMany; ++i) digests.keep(numbered(1), {i, i + 1}, numbered(2));
  std::uint64_t kept = 0;
  for (std::uint64_t i = 0; i < kMany; ++i) kept += digests.find(numbered(1), {i, i + 1}) ? 1 : 0;
  EXPECT_GT(kept, 0U);
  EXPECT_LE(kept, 1U << 15U);
  EXPECT_TRUE(digests.find(numbered(1), {kMany - 1, kMany}));
}

class SharedProof : public ::testing::Test {
 protected:
  static OpenedBundle opened(const Result<SealedBundle>& sealed) {
    if (!sealed) throw std::runtime_error(sealed.error().found);
    auto bundle = open_unverified(sealed->file, "a bundle");
    if (!bundle) throw std::runtime_error(bundle.error().found);
    return *std::move(bundle);
  }
  Status proved(const OpenedBundle& edited) {
    BaseProof proof(base, base.map, base_image(base, base.map), &digests);
    CALSEAL_CHECK(proof.prove(base, std::nullopt));
    return proof.prove(edited, std::nullopt);
  }

  SmallJob small;
  OpenedBundle base = opened(small.seal_base());
  OpenedBundle revision = opened(small.seal_revision(1, edited_small(small.base, 5)));
  SpanDigests digests;
};

TEST_F(SharedProof, HoldsAgainForTheNextBaseWithThesePayloads) {
  EXPECT_THAT(proved(revision), IsOk());
  EXPECT_THAT(proved(revision), IsOk());
}

// Every locked span of a memory that one payload carries whole was kept, with the digest of its bytes.
TEST_F(SharedProof, KeepsWhatItHashed) {
  ASSERT_THAT(proved(revision), IsOk());
  std::size_t locked = 0;
  for (const ManifestSpan& span : revision.manifest.controller().spans) {
    if (span.kind != SpanKind::kLocked || span.place.memory != "flash") continue;
    const ManifestEntry* const entry = base.manifest.find_entry("payload/engine/flash.bin");
    ASSERT_NE(entry, nullptr);
    EXPECT_EQ(digests.find(entry->digest, {span.place.range.begin - kFlash, span.place.range.end - kFlash}),
              span.after);
    ++locked;
  }
  EXPECT_GT(locked, 1U);
}

// A base with other bytes has another content, so nothing of the first is believed of it.
TEST_F(SharedProof, BelievesNothingOfOtherBytes) {
  ASSERT_THAT(proved(revision), IsOk());
  Bytes& flash = base.payload.at(0);
  const auto entry =
      std::ranges::find(base.manifest.entries, std::string("payload/engine/flash.bin"), &ManifestEntry::name);
  ASSERT_NE(entry, base.manifest.entries.end());
  flash.at(0x25) ^= 1U;
  entry->digest = compute_sha256(flash);
  EXPECT_FALSE(proved(revision).has_value());
}

}  // namespace
}  // namespace calseal
