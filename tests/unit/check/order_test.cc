// Order in time, through the whole checker: what the state, the shop's lists and the clock make of a bundle.
#include "calseal/check/order.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/spoken_code.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

NamedBytes named(const char* name, const std::string& text) {
  return {name, Bytes(text.begin(), text.end())};
}

// Four revisions of one base; revision 3 permits the return to revision 2.
class Order : public ::testing::Test {
 protected:
  Order() {
    job_.trust.keys.push_back(small_trusted(withdrawer_, "Withdrawer", Role::kWithdrawal));
    std::ranges::sort(job_.trust.keys, {}, &TrustedKey::id);
    for (std::uint64_t revision = 0; revision < 4; ++revision) {
      SealRequest request = request_for(revision);
      if (revision == 3) request.statement.permitted_returns = {sealed_[2].digest};
      sealed_.push_back(made(request));
    }
  }

  SealRequest request_for(std::uint64_t revision) const {
    return job_.request(
        revision, revision == 0 ? job_.base : edited_small(job_.base, static_cast<std::uint8_t>(revision)));
  }
  SealedBundle made(const SealRequest& request) const {
    auto sealed = seal(request, {job_.author}, job_.trust);
    if (!sealed) throw std::runtime_error(sealed.error().place + sealed.error().found);
    return *std::move(sealed);
  }

  CheckRequest request(const SealedBundle& bundle) const {
    CheckRequest request = job_.check_request(bundle.file, job_.base);
    request.now.seconds += 60;
    if (!state_.empty()) request.state = named("job.state", state_);
    return request;
  }
  // Accepts and remembers, as a program does that writes the files.
  Verdict write(const SealedBundle& bundle) {
    CheckRequest wanted = request(bundle);
    if (!wanted.state) wanted.state = NamedBytes{"job.state", {}};
    Verdict verdict = check_bundle(wanted);
    if (!verdict.reason) state_ = verdict.state_after_write;
    return verdict;
  }
  Verdict look(const SealedBundle& bundle) const { return check_bundle(request(bundle)); }

  KeptRevision newest() const {
    return state().find(job_.root.id())->find("job-7", "engine")->revisions.back();
  }
  CheckerState state() const { return *parse_state(view_of(state_), "job.state"); }

  std::string withdrawals(std::uint64_t number, std::vector<WithdrawalNotice> notices) const {
    WithdrawalList list;
    list.root = job_.root.id();
    list.number = number;
    list.claimed_time = time_text(job_.time);
    list.fresh_until = "2026-04-01T00:00:00Z";
    list.notices = std::move(notices);
    std::ranges::sort(list.notices, {}, &WithdrawalNotice::revision);
    const auto text = sign_statement(write_withdrawal_text(list), {withdrawer_});
    if (!text) throw std::runtime_error(text.error().found);
    return *text;
  }
  static WithdrawalNotice notice(const SealedBundle& bundle) {
    WithdrawalNotice notice;
    notice.revision = bundle.digest;
    notice.job = "job-7";
    notice.controller = "engine";
    notice.kind = WithdrawalClass::kSafety;
    notice.text = "boost too high";
    return notice;
  }
  std::string job_list(std::vector<const SealedBundle*> bundles) const {
    JobList list;
    list.root = job_.root.id();
    list.job = "job-7";
    list.controller = "engine";
    list.claimed_time = time_text(job_.time);
    for (const SealedBundle* bundle : bundles) {
      list.revisions.push_back({bundle->digest, bundle->manifest.base_number, bundle->manifest.revision,
                                bundle->manifest.sequence});
    }
    const auto text = sign_statement(write_job_list_text(list), {job_.author});
    if (!text) throw std::runtime_error(text.error().found);
    return *text;
  }

  SmallJob job_;
  PrivateKey withdrawer_ = small_key(9);
  std::vector<SealedBundle> sealed_;
  std::string state_;
};

TEST_F(Order, WithoutStateNothingIsKnown) {
  const Verdict verdict = look(sealed_[1]);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.passage, Passage::kUnknown);
  EXPECT_TRUE(has_caution(verdict, "newest-unknown"));
  EXPECT_TRUE(verdict.state_after_write.empty());
}

TEST_F(Order, AFirstStateIsSaidToBeNew) {
  const Verdict verdict = write(sealed_[1]);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "state-new"));
  EXPECT_EQ(newest().sequence, 2U);
}

TEST_F(Order, AFullStateIsLeftAsItIs) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  CheckerState full = state();
  RootState& root = full.roots.front();
  root.jobs.front().job = "a-000000";
  for (std::size_t i = 1; i < kStateJobLimit; ++i) {
    JobState job = root.jobs.front();
    job.job = "b-" + std::to_string(100000 + i);
    root.jobs.push_back(job);
  }
  state_ = write_state(full);
  ASSERT_TRUE(parse_state(view_of(state_), "s").has_value());
  const Verdict verdict = look(sealed_[1]);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "state-full"));
  EXPECT_TRUE(verdict.state_after_write.empty());
}

TEST_F(Order, ForwardAndTheSameAgain) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  const Verdict again = write(sealed_[1]);
  ASSERT_THAT(again, IsAccepted());
  EXPECT_EQ(again.passage, Passage::kNewest);
  const Verdict next = write(sealed_[3]);
  ASSERT_THAT(next, IsAccepted());
  EXPECT_EQ(next.passage, Passage::kNewer);
  EXPECT_FALSE(has_caution(next, "state-new"));
}

TEST_F(Order, AnOlderRevisionIsRefused) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  EXPECT_THAT(look(sealed_[1]), IsRefused(Reason::kSequenceOld));
  EXPECT_THAT(look(sealed_[2]), IsRefused(Reason::kSequenceOld));
}

TEST_F(Order, ARefusalLeavesTheJobAsItWas) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  const Verdict refused = look(sealed_[1]);
  EXPECT_TRUE(refused.state_after_write.empty());
  EXPECT_EQ(parse_state(view_of(refused.state_after_look), "s"), state());
}

TEST_F(Order, LookingRemembersNoRevision) {
  CheckRequest wanted = request(sealed_[3]);
  wanted.state = NamedBytes{"job.state", {}};
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsAccepted());
  const auto looked = parse_state(view_of(verdict.state_after_look), "s");
  ASSERT_TRUE(looked);
  EXPECT_TRUE(looked->find(job_.root.id())->jobs.empty());
}

// Nobody writes a revision 0 that is in the controller already.
TEST_F(Order, LookingRemembersARevisionZero) {
  CheckRequest wanted = request(sealed_[0]);
  wanted.state = NamedBytes{"job.state", {}};
  state_ = check_bundle(wanted).state_after_look;
  ASSERT_EQ(state().find(job_.root.id())->find("job-7", "engine")->ways_back.size(), 1U);
  EXPECT_EQ(newest().revision, sealed_[0].digest);
  wanted.seal_only = true;
  EXPECT_TRUE(check_bundle(wanted).state_after_look.empty()) << "the seal alone is not a full check";
}

TEST_F(Order, TheWayBackIsAlwaysOpenAndLowersNothing) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  const Verdict back = write(sealed_[0]);
  ASSERT_THAT(back, IsAccepted());
  EXPECT_EQ(back.passage, Passage::kWayBack);
  EXPECT_TRUE(has_caution(back, "way-back"));
  EXPECT_THAT(look(sealed_[2]), IsRefused(Reason::kSequenceOld));
  EXPECT_EQ(newest().sequence, 4U);
}

TEST_F(Order, ANewerRevisionZeroReplacesTheOlderOne) {
  SealRequest again = request_for(0);
  again.statement.sequence = 5;
  again.statement.title = "read again";
  const SealedBundle newer = made(again);
  ASSERT_THAT(write(newer), IsAccepted());
  EXPECT_THAT(look(sealed_[0]), IsRefused(Reason::kSequenceOld));
  EXPECT_THAT(look(newer), IsAccepted());
}

// The newest revision is no way back; the state keeps the newest revision 0 beside it.
TEST_F(Order, AReplacedRevisionZeroStaysReplaced) {
  SealRequest again = request_for(0);
  again.statement.sequence = 5;
  again.statement.title = "read again";
  const SealedBundle newer = made(again);
  SealRequest next = request_for(3);
  next.statement.revision = 4;
  next.statement.sequence = 6;
  const SealedBundle newest = made(next);
  CheckRequest wanted = request(sealed_[0]);
  wanted.job_list = named("list", job_list({&sealed_[0], &sealed_[1], &newer, &newest}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSequenceOld)) << "by the list";
  ASSERT_THAT(write(newer), IsAccepted());
  ASSERT_THAT(write(newest), IsAccepted());
  EXPECT_THAT(look(sealed_[0]), IsRefused(Reason::kSequenceOld)) << "by the state";
  EXPECT_EQ(look(newer).passage, Passage::kWayBack);
}

TEST_F(Order, ALookAtTheSealIsNoRevisionAccepted) {
  CheckRequest wanted = request(sealed_[3]);
  wanted.state = NamedBytes{"job.state", {}};
  wanted.seal_only = true;
  const Verdict verdict = check_bundle(wanted);
  EXPECT_EQ(verdict.outcome, Outcome::kAuthentic);
  EXPECT_TRUE(verdict.state_after_write.empty());
}

TEST_F(Order, AReturnNeedsTheWordAndTheList) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  CheckRequest wanted = request(sealed_[2]);
  wanted.declared_return = true;
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.passage, Passage::kReturn);
  EXPECT_EQ(parse_state(view_of(verdict.state_after_write), "s")->roots[0].jobs[0].revisions.back().sequence,
            4U);
  wanted = request(sealed_[1]);
  wanted.declared_return = true;
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSequenceOld));
}

TEST_F(Order, WithoutStateTheNewestBundleBesideItPermitsTheReturn) {
  CheckRequest wanted = request(sealed_[2]);
  wanted.newest = NamedBytes{"r3.calseal", sealed_[3].file};
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSequenceOld));
  wanted.declared_return = true;
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
  wanted = request(sealed_[1]);
  wanted.newest = NamedBytes{"r3.calseal", sealed_[3].file};
  wanted.declared_return = true;
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSequenceOld));
}

TEST_F(Order, TheNewestOfAnotherJobSaysNothing) {
  SealRequest other = request_for(3);
  other.statement.job = "job-8";
  other.statement.permitted_returns = {sealed_[2].digest};
  CheckRequest wanted = request(sealed_[2]);
  wanted.declared_return = true;
  wanted.newest = NamedBytes{"other.calseal", made(other).file};
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsRefused(Reason::kUsage));
  EXPECT_EQ(verdict.reason->place, "newest");
}

TEST_F(Order, AnOlderBundleBesideItDoesNotWidenTheReturns) {
  SealRequest next = request_for(3);
  next.statement.revision = 4;
  next.statement.sequence = 5;
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  ASSERT_THAT(write(made(next)), IsAccepted());
  CheckRequest wanted = request(sealed_[2]);
  wanted.declared_return = true;
  wanted.newest = NamedBytes{"r3.calseal", sealed_[3].file};
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSequenceOld));
}

TEST_F(Order, OneSequenceTwiceIsAConflict) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  SealRequest other = request_for(3);
  other.statement.title = "another";
  EXPECT_THAT(look(made(other)), IsRefused(Reason::kSequenceConflict));
}

TEST_F(Order, ANewBaseClosesTheOldOne) {
  SealRequest update = request_for(0);
  update.statement.base_number = 2;
  update.statement.base_reason = "dealer's update";
  update.statement.sequence = 5;
  update.statement.parent = sealed_[3].digest;
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  ASSERT_THAT(write(made(update)), IsAccepted());
  EXPECT_THAT(look(sealed_[0]), IsRefused(Reason::kBaseOld)) << "it was never accepted here";
  EXPECT_THAT(look(sealed_[3]), IsRefused(Reason::kBaseOld));
  EXPECT_EQ(newest().base, 2U);
}

TEST_F(Order, ANewBaseGoesOnCounting) {
  SealRequest update = request_for(0);
  update.statement.base_number = 2;
  update.statement.sequence = 2;
  update.statement.parent = sealed_[1].digest;
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  EXPECT_THAT(look(made(update)), IsRefused(Reason::kSequenceOld));
}

TEST_F(Order, AnotherJobCountsForItself) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  SealRequest other = request_for(1);
  other.statement.job = "job-8";
  EXPECT_THAT(write(made(other)), IsAccepted());
  EXPECT_EQ(state().roots[0].jobs.size(), 2U);
}

TEST_F(Order, ADamagedStateIsACautionAndIsLeftAlone) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  state_[state_.size() / 2] ^= 1;
  const Verdict verdict = look(sealed_[1]);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "state-damaged"));
  EXPECT_TRUE(verdict.state_after_look.empty());
  EXPECT_TRUE(verdict.state_after_write.empty());
  CheckRequest wanted = request(sealed_[2]);
  wanted.declared_return = true;
  EXPECT_EQ(check_bundle(wanted).passage, Passage::kUnknown);
}

TEST_F(Order, AnOlderTrustFileIsRefused) {
  job_.trust.version = 2;
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  job_.trust.version = 1;
  EXPECT_THAT(look(sealed_[1]), IsRefused(Reason::kTrustOld));
  job_.trust.version = 2;
  job_.trust.shop = "Another text under the same number";
  EXPECT_THAT(look(sealed_[1]), IsRefused(Reason::kTrustOld));
  job_.trust.version = 3;
  EXPECT_THAT(look(sealed_[1]), IsAccepted());
}

TEST_F(Order, AWithdrawnRevisionIsRefused) {
  CheckRequest wanted = request(sealed_[2]);
  wanted.withdrawals = named("list", withdrawals(1, {notice(sealed_[2])}));
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsRefused(Reason::kWithdrawn));
  EXPECT_NE(verdict.reason->found.find("boost too high"), std::string::npos);
  wanted = request(sealed_[1]);
  wanted.withdrawals = named("list", withdrawals(1, {notice(sealed_[2])}));
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
}

TEST_F(Order, TheStateRemembersWithdrawals) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  CheckRequest wanted = request(sealed_[3]);
  wanted.withdrawals = named("list", withdrawals(2, {notice(sealed_[2])}));
  state_ = check_bundle(wanted).state_after_look;
  CheckRequest back = request(sealed_[2]);
  back.declared_return = true;
  EXPECT_THAT(check_bundle(back), IsRefused(Reason::kWithdrawn)) << "a withdrawn permitted return";
  back.withdrawals = named("list", withdrawals(1, {}));
  EXPECT_THAT(check_bundle(back), IsRefused(Reason::kWithdrawalsOld));
  back.withdrawals = named("list", withdrawals(2, {}));
  EXPECT_THAT(check_bundle(back), IsRefused(Reason::kWithdrawalsOld)) << "another list of the same number";
  back.withdrawals = named("list", withdrawals(3, {}));
  EXPECT_THAT(check_bundle(back), IsAccepted());
}

TEST_F(Order, TheWayBackCannotBeWithdrawn) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  CheckRequest wanted = request(sealed_[0]);
  wanted.withdrawals = named("list", withdrawals(1, {notice(sealed_[0])}));
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "withdrawal-without-effect"));
}

TEST_F(Order, GoBackNowSaysWhereTo) {
  WithdrawalNotice now = notice(sealed_[3]);
  now.go_back = true;
  now.go_to = sealed_[2].digest;
  CheckRequest wanted = request(sealed_[3]);
  wanted.withdrawals = named("list", withdrawals(1, {now}));
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsRefused(Reason::kWithdrawn));
  EXPECT_NE(verdict.reason->next.find(digest_text(sealed_[2].digest)), std::string::npos);
}

TEST_F(Order, AStaleListIsACaution) {
  CheckRequest wanted = request(sealed_[1]);
  wanted.withdrawals = named("list", withdrawals(1, {}));
  EXPECT_FALSE(has_caution(check_bundle(wanted), "withdrawals-stale"));
  wanted.now = *parse_time("2026-04-01T00:00:00Z");
  EXPECT_TRUE(has_caution(check_bundle(wanted), "withdrawals-stale"));
}

TEST_F(Order, TheShopsListOfRevisions) {
  CheckRequest wanted = request(sealed_[3]);
  wanted.job_list = named("list", job_list({&sealed_[0], &sealed_[1], &sealed_[3]}));
  const Verdict newest = check_bundle(wanted);
  ASSERT_THAT(newest, IsAccepted());
  EXPECT_EQ(newest.passage, Passage::kNewest);
  EXPECT_FALSE(has_caution(newest, "newest-unknown"));
  wanted = request(sealed_[2]);
  wanted.job_list = named("list", job_list({&sealed_[0], &sealed_[1], &sealed_[3]}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kNotListed));
  wanted = request(sealed_[1]);
  wanted.job_list = named("list", job_list({&sealed_[0], &sealed_[1], &sealed_[3]}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSequenceOld));
  wanted = request(sealed_[0]);
  wanted.job_list = named("list", job_list({&sealed_[0], &sealed_[1], &sealed_[3]}));
  EXPECT_EQ(check_bundle(wanted).passage, Passage::kWayBack);
  wanted = request(sealed_[3]);
  wanted.job_list = named("list", job_list({&sealed_[0], &sealed_[1]}));
  const Verdict later = check_bundle(wanted);
  ASSERT_THAT(later, IsAccepted());
  EXPECT_TRUE(has_caution(later, "list-older"));
}

TEST_F(Order, AListOfAnotherJob) {
  SealRequest other = request_for(1);
  other.statement.job = "job-8";
  CheckRequest wanted = request(made(other));
  wanted.job_list = named("list", job_list({&sealed_[0]}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kJobListInvalid));
}

class Clock : public Order {
 protected:
  Clock() {
    SealRequest request = request_for(2);
    request.statement.expires = "2026-03-11T00:00:00Z";
    trial_ = made(request);
  }
  Verdict at(const SealedBundle& bundle, const char* time) const {
    CheckRequest wanted = request(bundle);
    wanted.now = *parse_time(time);
    return check_bundle(wanted);
  }
  SealedBundle trial_;
};

TEST_F(Clock, ATrialEnds) {
  EXPECT_THAT(at(trial_, "2026-03-10T23:59:59Z"), IsAccepted());
  EXPECT_THAT(at(trial_, "2026-03-11T00:00:00Z"), IsRefused(Reason::kExpired));
  EXPECT_THAT(at(sealed_[2], "2099-01-01T00:00:00Z"), IsAccepted()) << "only trials expire";
}

TEST_F(Clock, BeforeTheTimeOfSealing) {
  EXPECT_THAT(at(trial_, "2026-03-04T05:06:07Z"), IsAccepted());
  EXPECT_THAT(at(trial_, "2026-03-04T05:06:06Z"), IsRefused(Reason::kClockImplausible));
  const Verdict verdict = at(sealed_[2], "2026-03-04T05:06:06Z");
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "clock-implausible"));
}

TEST_F(Clock, BeforeATimeSeenBefore) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  ASSERT_EQ(state().last_time, "2026-03-04T05:07:07Z");
  EXPECT_THAT(at(trial_, "2026-03-04T05:07:06Z"), IsRefused(Reason::kClockImplausible));
  EXPECT_THAT(at(trial_, "2026-03-04T05:07:07Z"), IsAccepted());
}

TEST_F(Clock, TheWayBackNeedsNoClock) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  EXPECT_THAT(at(sealed_[0], "1970-01-01T00:00:00Z"), IsAccepted());
}

TEST_F(Clock, AnExpiredTrialStillPermitsTheReturn) {
  SealRequest last = request_for(3);
  last.statement.permitted_returns = {sealed_[2].digest};
  last.statement.expires = "2026-03-11T00:00:00Z";
  CheckRequest wanted = request(sealed_[2]);
  wanted.now = *parse_time("2026-05-01T00:00:00Z");
  wanted.newest = NamedBytes{"r3.calseal", made(last).file};
  wanted.declared_return = true;
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
}

}  // namespace
}  // namespace calseal
