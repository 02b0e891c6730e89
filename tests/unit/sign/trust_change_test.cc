#include "calseal/sign/trust_change.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/small_job.h"

namespace calseal {
namespace {

constexpr const char* kTime = "2026-06-01T00:00:00Z";

TrustedKey new_key(std::uint8_t value) { return small_trusted(small_key(value), "New", Role::kAuthor); }

// Every change ends in a file that readers accept.
void expect_sealable(const SmallJob& job) { EXPECT_THAT(seal_trust_file(job.trust, job.root), IsOk()); }

TEST(TrustChange, VersionsGrowAndTimeDoesNotRunBack) {
  SmallJob job;
  const TrustFile before = job.trust;
  EXPECT_THAT(begin_version(job.trust, "2026-01-01T00:00:00Z"), FailsWith(Reason::kUsage, "claimed time"));
  EXPECT_EQ(job.trust, before);
  EXPECT_THAT(begin_version(job.trust, before.claimed_time), IsOk());
  EXPECT_THAT(begin_version(job.trust, kTime), IsOk());
  EXPECT_EQ(job.trust.version, before.version + 2);
  EXPECT_EQ(job.trust.claimed_time, kTime);
  expect_sealable(job);
}

TEST(TrustChange, AddedKeysAreInOrder) {
  SmallJob job;
  for (std::uint8_t value = 20; value < 40; ++value) {
    TrustedKey key = new_key(value);
    key.id = Sha256{};  // computed, never believed
    key.roles = {Role::kReviewer, Role::kAuthor, Role::kReviewer};
    key.jobs = {"b", "a", "b"};
    key.controllers = {"transmission", "engine"};
    key.region_maps = {compute_sha256(view_of("2")), compute_sha256(view_of("1"))};
    ASSERT_THAT(add_key(job.trust, key), IsOk());
  }
  const TrustedKey* const added = job.trust.find(small_key(20).id());
  ASSERT_NE(added, nullptr);
  EXPECT_EQ(added->roles, (std::vector<Role>{Role::kAuthor, Role::kReviewer}));
  EXPECT_EQ(added->jobs, (std::vector<std::string>{"a", "b"}));
  expect_sealable(job);
}

TEST(TrustChange, KeysThatAreNotAdded) {
  SmallJob job;
  job.trust.next_root = small_key(7).id();
  EXPECT_THAT(add_key(job.trust, new_key(2)), FailsWith(Reason::kUsage));
  EXPECT_THAT(add_key(job.trust, new_key(1)), FailsWith(Reason::kUsage));
  EXPECT_THAT(add_key(job.trust, new_key(7)), FailsWith(Reason::kUsage));
  for (const bool job_scope : {true, false}) {
    TrustedKey desk = new_key(8);
    desk.roles = {Role::kWithdrawal};
    (job_scope ? desk.jobs : desk.controllers) = {"engine"};
    EXPECT_THAT(add_key(job.trust, desk), FailsWith(Reason::kUsage));
  }
  for (std::uint8_t value = 20; job.trust.keys.size() < kTrustKeyLimit; ++value)
    ASSERT_THAT(add_key(job.trust, new_key(value)), IsOk());
  EXPECT_THAT(add_key(job.trust, new_key(150)), FailsWith(Reason::kUsage));
  expect_sealable(job);
}

TEST(TrustChange, RetiredKeysEndOnceAndNeverLater) {
  SmallJob job;
  const KeyId id = job.author.id();
  EXPECT_THAT(retire_key(job.trust, job.stranger.id(), kTime), FailsWith(Reason::kUsage));
  EXPECT_THAT(retire_key(job.trust, id, job.author_entry().valid_from), FailsWith(Reason::kUsage));
  EXPECT_THAT(retire_key(job.trust, id, kTime), IsOk());
  EXPECT_EQ(job.author_entry().valid_until, kTime);
  EXPECT_THAT(retire_key(job.trust, id, kTime), FailsWith(Reason::kUsage));
  EXPECT_THAT(retire_key(job.trust, id, "2026-06-02T00:00:00Z"), FailsWith(Reason::kUsage));
  EXPECT_THAT(retire_key(job.trust, id, "2026-05-01T00:00:00Z"), IsOk());
  expect_sealable(job);
  job.author_entry().compromised = true;
  EXPECT_THAT(retire_key(job.trust, id, "2026-04-01T00:00:00Z"), FailsWith(Reason::kUsage));
}

// What a key signed while it was valid stays good once it is retired.
TEST(TrustChange, SealsOfARetiredKeyStayGood) {
  SmallJob job;
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9));
  ASSERT_THAT(retire_key(job.trust, job.author.id(), kTime), IsOk());
  CheckRequest request = job.check_request(sealed->file, job.base);
  request.now = *parse_time("2027-06-01T00:00:00Z");
  EXPECT_EQ(check_bundle(request).outcome, Outcome::kAccepted);
  SealRequest late = job.request(1, edited_small(job.base, 9));
  late.statement.claimed_time = *parse_time(kTime);
  EXPECT_THAT(seal(late, {job.author}, job.trust), FailsWith(Reason::kKeyValidity));
}

TEST(TrustChange, CompromisedForGood) {
  SmallJob job;
  EXPECT_THAT(compromise_key(job.trust, job.stranger.id()), FailsWith(Reason::kUsage));
  EXPECT_THAT(compromise_key(job.trust, job.author.id()), IsOk());
  EXPECT_TRUE(job.author_entry().compromised);
  EXPECT_THAT(compromise_key(job.trust, job.author.id()), FailsWith(Reason::kUsage));
  expect_sealable(job);
}

TEST(TrustChange, NoThresholdThatNobodyReaches) {
  SmallJob job;  // an author and a reviewer
  for (const std::uint64_t bad : {0, 3, 9}) {
    EXPECT_THAT(set_threshold(job.trust, bad), FailsWith(Reason::kUsage, "threshold"));
    EXPECT_EQ(job.trust.threshold, 1U);
  }
  EXPECT_THAT(set_threshold(job.trust, 2), IsOk());
  expect_sealable(job);
  EXPECT_THAT(set_threshold(job.trust, 1), IsOk());
  job.author_entry().compromised = true;
  EXPECT_THAT(set_threshold(job.trust, 2), FailsWith(Reason::kUsage, "threshold"));
}

TEST(TrustChange, AnnouncedRootsAreNewKeys) {
  SmallJob job;
  EXPECT_THAT(announce_root(job.trust, job.root.id()), FailsWith(Reason::kUsage));
  EXPECT_THAT(announce_root(job.trust, job.author.id()), FailsWith(Reason::kUsage));
  EXPECT_THAT(announce_root(job.trust, small_key(7).id()), IsOk());
  EXPECT_THAT(announce_root(job.trust, small_key(8).id()), IsOk());
  EXPECT_EQ(job.trust.next_root, small_key(8).id());
  expect_sealable(job);
}

TEST(TrustChange, PinnedHeadsAreInOrderAndOneOfEachSize) {
  SmallJob job;
  for (const std::uint64_t size : {50, 3, 90}) EXPECT_THAT(pin_head(job.trust, {size, Sha256{}}), IsOk());
  expect_sealable(job);
  EXPECT_THAT(pin_head(job.trust, {3, Sha256{}}), FailsWith(Reason::kUsage));
  EXPECT_THAT(pin_head(job.trust, {3, job.root.id()}), FailsWith(Reason::kUsage));
  for (std::uint64_t size = 100; job.trust.ledger_heads.size() < kLedgerHeadLimit; ++size)
    ASSERT_THAT(pin_head(job.trust, {size, Sha256{}}), IsOk());
  EXPECT_THAT(pin_head(job.trust, {4, Sha256{}}), FailsWith(Reason::kUsage));
  expect_sealable(job);
}

TEST(TrustChange, ANewRootTakesEverythingOver) {
  SmallJob job;
  job.trust.version = 9;
  job.trust.threshold = 2;
  job.trust.next_root = small_key(7).id();
  job.trust.ledger_heads = {{3, Sha256{}}};
  job.author_entry().compromised = true;
  const TrustFile next = trust_under_new_root(job.trust, small_key(7).public_key(), kTime);
  EXPECT_EQ(next.version, 1U);
  EXPECT_EQ(next.root, small_key(7).public_key());
  EXPECT_EQ(next.next_root, std::nullopt);
  EXPECT_EQ(next.claimed_time, kTime);
  EXPECT_EQ(next.keys, job.trust.keys);
  EXPECT_EQ(next.ledger_heads, job.trust.ledger_heads);
  EXPECT_EQ(next.threshold, 2U);
  EXPECT_THAT(seal_trust_file(next, small_key(7)), IsOk());
}

}  // namespace
}  // namespace calseal
