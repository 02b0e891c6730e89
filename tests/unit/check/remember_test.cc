// What the state keeps: numbers only grow, and a new base begins anew.
#include "calseal/check/remember.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "support/matchers.h"

namespace calseal {
namespace {

Sha256 digest(const char* text) { return compute_sha256(view_of(text)); }

const UtcTime kNow = *parse_time("2026-03-04T05:06:07Z");

OpenedBundle opened(std::uint64_t base, std::uint64_t revision, std::uint64_t sequence, const char* name) {
  OpenedBundle bundle;
  bundle.manifest.job = "job-7";
  bundle.manifest.base_number = base;
  bundle.manifest.revision = revision;
  bundle.manifest.sequence = sequence;
  bundle.manifest.controllers.emplace_back();
  bundle.manifest.controllers.front().name = "engine";
  bundle.digest = digest(name);
  return bundle;
}

class Remember : public ::testing::Test {
 protected:
  void note(const OpenedBundle& bundle, UtcTime now = kNow) { remember_revision(state_, root_, bundle, now); }
  const JobState& job() const { return *state_.find(root_)->find("job-7", "engine"); }

  KeyId root_ = digest("root");
  CheckerState state_;
};

TEST_F(Remember, TheTimeNeverRunsBackwards) {
  state_.last_time = "2027-01-01T00:00:00Z";
  note(opened(1, 0, 1, "zero"));
  EXPECT_EQ(state_.last_time, "2027-01-01T00:00:00Z");
  note(opened(1, 1, 2, "one"), *parse_time("2027-01-02T00:00:00Z"));
  EXPECT_EQ(state_.last_time, "2027-01-02T00:00:00Z");
}

TEST_F(Remember, AnOlderRevisionLowersNothing) {
  note(opened(1, 0, 5, "zero again"));
  note(opened(1, 3, 6, "three"));
  note(opened(1, 0, 1, "zero"));
  note(opened(1, 1, 2, "one"));
  EXPECT_EQ(job().way_back, digest("zero again"));
  EXPECT_EQ(job().way_back_sequence, 5U);
  EXPECT_EQ(job().revision, digest("three"));
  EXPECT_EQ(job().sequence, 6U);
}

TEST_F(Remember, ANewBaseForgetsTheWayBackOfTheOld) {
  note(opened(1, 0, 1, "zero"));
  note(opened(2, 1, 4, "one of base two"));
  EXPECT_EQ(job().base, 2U);
  EXPECT_FALSE(job().way_back);
  EXPECT_EQ(job().way_back_sequence, 0U);
  note(opened(2, 0, 3, "zero of base two"));
  EXPECT_EQ(job().way_back, digest("zero of base two"));
}

TrustFile trust(std::uint8_t root, std::uint64_t version) {
  TrustFile file;
  file.root.bytes.fill(root);
  file.version = version;
  return file;
}

TEST_F(Remember, TheTrustOfASucceededRootIsNotLowered) {
  const KeyId old_root = compute_key_id(trust(1, 0).root);
  TrustChain chain;
  chain.trust = trust(2, 1);
  chain.steps.emplace_back();
  chain.steps.back().old_trust = trust(1, 4);
  RootState& old = state_.entry(old_root);
  old.trust_version = 7;
  old.trust = digest("version seven");
  remember_trust(state_, chain, nullptr);
  EXPECT_TRUE(state_.find(old_root)->superseded);
  EXPECT_EQ(state_.find(old_root)->trust_version, 7U);
  EXPECT_EQ(state_.find(old_root)->trust, digest("version seven"));
  chain.steps.back().old_trust.version = 8;
  remember_trust(state_, chain, nullptr);
  EXPECT_EQ(state_.find(old_root)->trust_version, 8U);
}

TEST_F(Remember, AnOlderListOfWithdrawalsIsForgottenAtOnce) {
  TrustChain chain;
  chain.trust = trust(1, 1);
  const KeyId root = compute_key_id(chain.trust.root);
  WithdrawalList list;
  list.root = root;
  const auto with = [&](std::uint64_t number, const char* name) {
    list.number = number;
    list.notices.assign(1, {});
    list.notices.front().revision = digest(name);
    remember_trust(state_, chain, &list);
    return *state_.find(root);
  };
  EXPECT_EQ(with(3, "a").withdrawn, std::vector<Sha256>{digest("a")});
  EXPECT_EQ(with(2, "b").withdrawn, std::vector<Sha256>{digest("a")}) << "older";
  EXPECT_EQ(state_.find(root)->withdrawal_number, 3U);
  EXPECT_EQ(with(4, "c").withdrawn, std::vector<Sha256>{digest("c")})
      << "a newer list replaces, it does not add";
}

}  // namespace
}  // namespace calseal
