// What a state makes of roots, stolen keys, ways back, lists and clocks, through the whole checker. Each
// refusal has its honest twin, which is accepted.
#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/check/remember.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/spoken_code.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

NamedBytes named(const char* name, const Bytes& bytes) { return {name, bytes}; }
Bytes bytes_of(const std::string& text) { return {text.begin(), text.end()}; }

// One shop with its roots, keys and files; what the customer has accepted is in `state`.
class Memory : public ::testing::Test {
 protected:
  Memory() {
    trust_ = job_.trust;
    trust_.keys = {small_trusted(author_, "Author", Role::kAuthor),
                   small_trusted(second_, "Second", Role::kAuthor),
                   small_trusted(desk_, "Desk", Role::kWithdrawal),
                   small_trusted(other_desk_, "Other desk", Role::kWithdrawal)};
    std::ranges::sort(trust_.keys, {}, &TrustedKey::id);
    seal_trust_ = trust_;
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
  SealedBundle made(const SealRequest& request, const SigningKeys& keys) const {
    auto sealed = seal(request, keys, seal_trust_);
    if (!sealed) throw std::runtime_error(sealed.error().place + sealed.error().found);
    return *std::move(sealed);
  }
  SealedBundle made(const SealRequest& request) const { return made(request, {author_}); }
  // Revision 0 of another base, or read again.
  SealedBundle first_read(std::uint64_t base, std::uint64_t sequence, const SigningKeys& keys) const {
    SealRequest request = request_for(0);
    request.statement.base_number = base;
    request.statement.base_reason = "as somebody says";
    request.statement.sequence = sequence;
    if (base != 1) request.statement.parent = sealed_[3].digest;
    request.statement.title = "read again";
    return made(request, keys);
  }

  static Bytes trust_bytes(const TrustFile& trust, const PrivateKey& root) {
    const auto text = seal_trust_file(trust, root);
    if (!text) throw std::runtime_error(text.error().found);
    return bytes_of(*text);
  }
  TrustFile under(const PrivateKey& root, std::uint64_t version = 1) const {
    TrustFile trust = trust_;
    trust.root = root.public_key();
    trust.version = version;
    trust.next_root.reset();
    return trust;
  }
  TrustedKey& key_of(const PrivateKey& key) {
    return *std::ranges::find(trust_.keys, key.id(), &TrustedKey::id);
  }
  Bytes succession(const PrivateKey& from, const PrivateKey& to, std::uint64_t version = 9) const {
    Succession step;
    step.old_trust = under(from, version);
    step.old_trust.next_root = to.id();
    const Bytes text = trust_bytes(step.old_trust, from);
    step.old_trust_text = std::string(text_of(text));
    step.new_root = to.public_key();
    step.claimed_time = time_text(job_.time);
    step.reason = "another root";
    const auto statement = sign_statement(write_succession_text(step), {from, to});
    if (!statement) throw std::runtime_error(statement.error().found);
    return bytes_of(*statement);
  }
  Bytes withdrawals(const PrivateKey& root, std::uint64_t number, const PrivateKey& by,
                    std::vector<Sha256> revisions) const {
    WithdrawalList list;
    list.root = root.id();
    list.number = number;
    list.claimed_time = time_text(job_.time);
    list.fresh_until = "2027-04-01T00:00:00Z";
    std::ranges::sort(revisions);
    for (const Sha256& revision : revisions) {
      WithdrawalNotice notice{revision, "job-7", "engine", WithdrawalClass::kSafety, false, {}, "too lean"};
      list.notices.push_back(notice);
    }
    const auto text = sign_statement(write_withdrawal_text(list), {by});
    if (!text) throw std::runtime_error(text.error().found);
    return bytes_of(*text);
  }

  // A check under the present trust file, one minute after everything was sealed.
  CheckRequest request(const SealedBundle& bundle) const {
    CheckRequest request = job_.check_request(bundle.file, job_.base);
    request.trust = trust_bytes(trust_, job_.root);
    request.now.seconds += 60;
    request.state = NamedBytes{"job.state", bytes_of(state_)};
    return request;
  }
  CheckRequest request(const SealedBundle& bundle, const PrivateKey& root, std::uint64_t version = 1,
                       std::vector<Bytes> successions = {}) const {
    CheckRequest wanted = request(bundle);
    wanted.trust = trust_bytes(under(root, version), root);
    for (const Bytes& step : successions) wanted.successions.push_back(named("step", step));
    return wanted;
  }
  Verdict write(const CheckRequest& wanted) {
    Verdict verdict = check_bundle(wanted);
    const std::string& state = verdict.reason ? verdict.state_after_look : verdict.state_after_write;
    if (!state.empty()) state_ = state;
    return verdict;
  }
  Verdict write(const SealedBundle& bundle) { return write(request(bundle)); }
  Verdict look(const SealedBundle& bundle) const { return check_bundle(request(bundle)); }
  CheckerState state() const { return *parse_state(view_of(state_), "job.state"); }
  static std::string stated(const PrivateKey& root) { return digest_text(root.id()); }

  SmallJob job_;
  PrivateKey author_ = small_key(2), second_ = small_key(5), desk_ = small_key(9),
             other_desk_ = small_key(12);
  PrivateKey next_ = small_key(7), thief_ = small_key(8), third_ = small_key(11);
  TrustFile trust_, seal_trust_;
  std::vector<SealedBundle> sealed_;
  std::string state_;
};

class Roots : public Memory {};

// 1: a change of root forgets nothing.
TEST_F(Roots, ASuccessionForgetsNoRevision) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  const std::vector<Bytes> step = {succession(job_.root, next_)};
  ASSERT_THAT(write(request(sealed_[3], next_, 1, step)), IsAccepted());
  EXPECT_THAT(check_bundle(request(sealed_[1], next_)), IsRefused(Reason::kSequenceOld));
  EXPECT_THAT(check_bundle(request(sealed_[3], next_)), IsAccepted());
  CheckRequest back = request(sealed_[2], next_);
  back.declared_return = true;
  EXPECT_THAT(check_bundle(back), IsAccepted()) << "the returns count on too";
}

TEST_F(Roots, ASuccessionForgetsNothingOnTheVeryFirstCheck) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  EXPECT_THAT(check_bundle(request(sealed_[1], next_, 1, {succession(job_.root, next_)})),
              IsRefused(Reason::kSequenceOld));
  EXPECT_THAT(
      check_bundle(request(sealed_[1], third_, 1, {succession(job_.root, next_), succession(next_, third_)})),
      IsRefused(Reason::kSequenceOld));
}

TEST_F(Roots, WithdrawalsOfTheOldRootStayUntilTheNewOnesFirstList) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  CheckRequest wanted = request(sealed_[2]);
  wanted.withdrawals = named("list", withdrawals(job_.root, 5, desk_, {sealed_[2].digest}));
  ASSERT_THAT(write(wanted), IsRefused(Reason::kWithdrawn));
  const std::vector<Bytes> step = {succession(job_.root, next_)};
  EXPECT_THAT(check_bundle(request(sealed_[2], next_, 1, step)), IsRefused(Reason::kWithdrawn));
  ASSERT_THAT(write(request(sealed_[0], next_, 1, step)), IsAccepted());
  EXPECT_THAT(check_bundle(request(sealed_[2], next_)), IsRefused(Reason::kWithdrawn));
  EXPECT_THAT(check_bundle(request(sealed_[3], next_)), IsAccepted());
  wanted = request(sealed_[2], next_);
  wanted.withdrawals = named("list", withdrawals(next_, 1, desk_, {sealed_[3].digest}));
  EXPECT_THAT(check_bundle(wanted), IsAccepted()) << "the new root's first list speaks for itself";
}

// A stolen key signs the highest number there is; calling the key stolen is the cure, under either root.
TEST_F(Roots, AFastForwardFallsWithItsKey) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  SealRequest last = request_for(2);
  last.statement.sequence = kSequenceLimit;
  ASSERT_THAT(write(made(last, {second_})), IsAccepted());
  EXPECT_THAT(look(sealed_[3]), IsRefused(Reason::kSequenceOld));
  const std::vector<Bytes> step = {succession(job_.root, next_)};
  EXPECT_THAT(check_bundle(request(sealed_[3], next_, 1, step)), IsRefused(Reason::kSequenceOld))
      << "a change of root alone makes nothing fall";
  key_of(second_).compromised = true;
  const Verdict cured = check_bundle(request(sealed_[3], next_, 1, step));
  ASSERT_THAT(cured, IsAccepted());
  EXPECT_EQ(cured.passage, Passage::kNewer);
  EXPECT_THAT(check_bundle(request(sealed_[3], job_.root, 2)), IsAccepted()) << "the same without a new root";
}

TEST_F(Roots, WhatOthersSignedCountsWhenAThiefsNumberFalls) {
  ASSERT_THAT(write(sealed_[3]), IsAccepted());
  SealRequest last = request_for(2);
  last.statement.sequence = kSequenceLimit;
  last.statement.permitted_returns = {sealed_[1].digest};
  ASSERT_THAT(write(made(last, {second_})), IsAccepted());
  key_of(second_).compromised = true;
  CheckRequest old = request(sealed_[1], job_.root, 2);
  EXPECT_THAT(check_bundle(old), IsRefused(Reason::kSequenceOld));
  old.declared_return = true;
  EXPECT_THAT(check_bundle(old), IsRefused(Reason::kSequenceOld)) << "a thief permits no return";
}

TEST_F(Roots, AStolenKeyStaysStolen) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  const TrustFile before = trust_;
  key_of(second_).compromised = true;
  ASSERT_THAT(write(request(sealed_[1], job_.root, 2)), IsAccepted());
  const TrustFile stolen = trust_;
  trust_ = before;
  EXPECT_THAT(check_bundle(request(sealed_[3], job_.root, 3)), IsRefused(Reason::kKeyReinstated)) << "active";
  std::erase_if(trust_.keys, [&](const TrustedKey& key) { return key.id == second_.id(); });
  const Verdict left_out = check_bundle(request(sealed_[3], job_.root, 3));
  ASSERT_THAT(left_out, IsRefused(Reason::kKeyReinstated));
  EXPECT_NE(left_out.reason->place.find(digest_text(second_.id())), std::string::npos);
  EXPECT_THAT(check_bundle(request(sealed_[3], next_, 1, {succession(job_.root, next_)})),
              IsRefused(Reason::kKeyReinstated))
      << "nor does a new root let go of it";
  trust_ = stolen;
  EXPECT_THAT(check_bundle(request(sealed_[3], job_.root, 3)), IsAccepted());
  EXPECT_THAT(check_bundle(request(sealed_[3], next_, 1, {succession(job_.root, next_)})), IsAccepted());
}

TEST_F(Roots, ASuccessionCarriesStolenKeysWithoutAState) {
  const TrustFile before = trust_;
  key_of(second_).compromised = true;
  const Bytes step = succession(job_.root, next_);
  CheckRequest wanted = request(sealed_[1], next_, 1, {step});
  wanted.state.reset();
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
  trust_ = before;
  wanted = request(sealed_[1], next_, 1, {step});
  wanted.state.reset();
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kKeyReinstated));
}

TEST_F(Roots, TheOldRootIsClosed) {
  ASSERT_THAT(write(request(sealed_[1], next_, 1, {succession(job_.root, next_)})), IsAccepted());
  EXPECT_THAT(check_bundle(request(sealed_[1], job_.root, 99)), IsRefused(Reason::kTrustOld));
  CheckRequest wanted = request(sealed_[1], job_.root, 99);
  wanted.stated_root = stated(job_.root);
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kTrustOld));
}

// 2: a second successor.
TEST_F(Roots, AStolenOldRootDoesNotFork) {
  ASSERT_THAT(write(request(sealed_[1], next_, 1, {succession(job_.root, next_)})), IsAccepted());
  const CheckRequest fork = request(sealed_[1], thief_, 1, {succession(job_.root, thief_)});
  const Verdict verdict = check_bundle(fork);
  ASSERT_THAT(verdict, IsRefused(Reason::kSuccessionFork));
  EXPECT_EQ(verdict.reason->found, spoken_code(Spoken::kKey, thief_.id()));
  EXPECT_NE(verdict.reason->expected.find(spoken_code(Spoken::kKey, next_.id())), std::string::npos);
  EXPECT_TRUE(verdict.state_after_look.empty());
  CheckRequest wanted = fork;
  wanted.stated_root = stated(job_.root);
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSuccessionFork)) << "both have the old root in common";
  EXPECT_THAT(check_bundle(request(sealed_[1], next_, 1, {succession(job_.root, next_)})), IsAccepted());
}

TEST_F(Roots, TheStatedRootSettlesAForkAndTheOtherBranchIsDropped) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  // The thief came first, and went on from there.
  SealRequest last = request_for(2);
  last.statement.sequence = kSequenceLimit;
  const SealedBundle far = made(last, {second_});
  ASSERT_THAT(write(request(far, thief_, 1, {succession(job_.root, thief_)})), IsAccepted());
  ASSERT_THAT(write(request(far, third_, 1, {succession(thief_, third_)})), IsAccepted());
  CheckRequest wanted = request(sealed_[3], next_, 1, {succession(job_.root, next_)});
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSuccessionFork));
  wanted.stated_root = stated(next_);
  const Verdict refused = check_bundle([&] {
    CheckRequest without_read = wanted;
    without_read.read.clear();
    return without_read;
  }());
  ASSERT_THAT(refused, IsRefused(Reason::kReadMissing));
  EXPECT_EQ(*parse_state(view_of(refused.state_after_look), "s"), state()) << "a refusal settles nothing";
  ASSERT_THAT(write(wanted), IsAccepted());
  EXPECT_EQ(state().find(job_.root.id())->next, next_.id());
  EXPECT_EQ(state().find(thief_.id()), nullptr);
  EXPECT_EQ(state().find(third_.id()), nullptr);
  EXPECT_THAT(check_bundle(request(far, thief_, 1, {succession(job_.root, thief_)})),
              IsRefused(Reason::kSuccessionFork));
  EXPECT_THAT(check_bundle(request(far, third_)), IsRefused(Reason::kRootUnrelated));
}

TEST_F(Roots, ARefusedBundleTeachesNoSuccessor) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  CheckRequest wanted = request(sealed_[3], thief_, 1, {succession(job_.root, thief_)});
  wanted.read.clear();
  ASSERT_THAT(write(wanted), IsRefused(Reason::kReadMissing));
  wanted.seal_only = true;
  EXPECT_EQ(write(wanted).outcome, Outcome::kAuthentic);
  EXPECT_FALSE(state().find(job_.root.id())->next);
  EXPECT_EQ(state().find(thief_.id()), nullptr);
  EXPECT_THAT(check_bundle(request(sealed_[3], next_, 1, {succession(job_.root, next_)})), IsAccepted());
}

// 3: a stranger's shop.
TEST_F(Roots, AStrangersShopNeedsItsFingerprint) {
  ASSERT_THAT(write(sealed_[1]), IsAccepted());
  CheckRequest wanted = request(sealed_[3], thief_);
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsRefused(Reason::kRootUnrelated));
  EXPECT_EQ(verdict.reason->found, spoken_code(Spoken::kKey, thief_.id()));
  wanted.stated_root = stated(thief_);
  ASSERT_THAT(write(wanted), IsAccepted()) << "two shops may use one name";
  EXPECT_THAT(check_bundle(request(sealed_[3], thief_)), IsAccepted()) << "known now";
  EXPECT_THAT(look(sealed_[2]), IsAccepted()) << "and what one accepts says nothing about the other";
}

TEST_F(Roots, ARefusalTeachesNoStranger) {
  CheckRequest wanted = request(sealed_[1], thief_);
  wanted.read.clear();
  ASSERT_THAT(write(wanted), IsRefused(Reason::kReadMissing));
  EXPECT_TRUE(state_.empty());
  EXPECT_THAT(look(sealed_[1]), IsAccepted()) << "the shop is not the unrelated one";
}

TEST_F(Roots, AStatedRootIsRememberedWithItsWithdrawalsWhateverTheVerdict) {
  CheckRequest wanted = request(sealed_[2]);
  wanted.stated_root = stated(job_.root);
  wanted.withdrawals = named("list", withdrawals(job_.root, 5, desk_, {sealed_[2].digest}));
  ASSERT_THAT(write(wanted), IsRefused(Reason::kWithdrawn));
  EXPECT_THAT(look(sealed_[2]), IsRefused(Reason::kWithdrawn));
  EXPECT_THAT(look(sealed_[1]), IsAccepted());
}

// 4: the way back.
class WayBack : public Memory {};

TEST_F(WayBack, ANewBaseOnTheSameControllerDoesNotCloseIt) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  ASSERT_THAT(write(first_read(2, 9, {second_})), IsAccepted());
  const Verdict back = look(sealed_[0]);
  ASSERT_THAT(back, IsAccepted());
  EXPECT_EQ(back.passage, Passage::kWayBack);
  EXPECT_TRUE(has_caution(back, "base-other"));
  EXPECT_THAT(look(sealed_[1]), IsRefused(Reason::kBaseOld)) << "revisions of the old base stay closed";
}

TEST_F(WayBack, WhetherItFitsTheReadSays) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  ASSERT_THAT(write(first_read(2, 9, {second_})), IsAccepted());
  SmallImage other = job_.base;
  other.flash[0x3f0] ^= 1;
  CheckRequest wanted = request(sealed_[0]);
  wanted.read = SmallJob::files_of(other);
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kReadForeign));
}

TEST_F(WayBack, ASecondRevisionZeroDoesNotCloseIt) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  ASSERT_THAT(write(first_read(1, 9, {second_})), IsAccepted());
  const Verdict back = look(sealed_[0]);
  ASSERT_THAT(back, IsAccepted());
  EXPECT_TRUE(has_caution(back, "way-back-replaced"));
}

TEST_F(WayBack, OneThatWasNeverAcceptedIsReplaced) {
  ASSERT_THAT(write(first_read(1, 9, {second_})), IsAccepted());
  EXPECT_THAT(look(sealed_[0]), IsRefused(Reason::kSequenceOld));
}

TEST_F(WayBack, AListThatLeavesItOutDoesNotCloseIt) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  JobList list;
  list.root = job_.root.id();
  list.job = "job-7";
  list.controller = "engine";
  list.claimed_time = time_text(job_.time);
  list.revisions = {{sealed_[3].digest, 2, 3, 9}};
  CheckRequest wanted = request(sealed_[0]);
  wanted.job_list = named("list", bytes_of(*sign_statement(write_job_list_text(list), {author_})));
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
  wanted = request(sealed_[1]);
  wanted.job_list = named("list", bytes_of(*sign_statement(write_job_list_text(list), {author_})));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kBaseOld));
}

TEST_F(WayBack, ItsNumberGivenTwiceDoesNotCloseIt) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  CheckRequest twice = request(first_read(1, 1, {second_}));
  EXPECT_THAT(check_bundle(twice), IsRefused(Reason::kSequenceConflict));
  CheckRequest wanted = request(sealed_[0]);
  wanted.newest = NamedBytes{"twice.calseal", first_read(1, 1, {second_}).file};
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
}

TEST_F(WayBack, ALookIsEnoughToKeepItOpen) {
  CheckRequest wanted = request(sealed_[0]);
  state_ = check_bundle(wanted).state_after_look;
  ASSERT_THAT(write(first_read(2, 9, {second_})), IsAccepted());
  EXPECT_THAT(look(sealed_[0]), IsAccepted());
}

TEST_F(WayBack, WithoutAReadThePersonSaysWhichBaseThereIs) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  CheckRequest wanted = request(sealed_[0]);
  wanted.read.clear();
  wanted.revive = true;
  wanted.evidence.vehicle_reference = "blue estate";
  EXPECT_THAT(check_bundle(wanted), IsAccepted()) << "no newer base is known";
  ASSERT_THAT(write(first_read(2, 9, {second_})), IsAccepted());
  wanted.state = NamedBytes{"job.state", bytes_of(state_)};
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kBaseOld));
  wanted.declared_old_base = true;
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "base-other"));
}

TEST_F(WayBack, TheWordOpensNothingElse) {
  ASSERT_THAT(write(first_read(2, 9, {author_})), IsAccepted());
  for (const std::size_t revision : {0U, 1U}) {
    CheckRequest wanted = request(sealed_[revision]);
    wanted.declared_old_base = true;
    EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kBaseOld)) << revision;
  }
}

// 5: lists of withdrawals.
class Lists : public Memory {};

TEST_F(Lists, AStolenKeysListShutsOutNoLaterOne) {
  ASSERT_THAT(write(sealed_[0]), IsAccepted());
  CheckRequest wanted = request(sealed_[0]);
  wanted.withdrawals = named("list", withdrawals(job_.root, 3, desk_, {sealed_[1].digest}));
  ASSERT_THAT(write(wanted), IsAccepted());
  wanted = request(sealed_[0]);
  wanted.withdrawals =
      named("list", withdrawals(job_.root, kJsonIntegerLimit, other_desk_, {sealed_[2].digest}));
  ASSERT_THAT(write(wanted), IsAccepted());
  wanted = request(sealed_[3]);
  wanted.withdrawals = named("list", withdrawals(job_.root, 4, desk_, {}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kWithdrawalsOld)) << "nobody has called the key stolen";
  key_of(other_desk_).compromised = true;
  EXPECT_THAT(write(request(sealed_[2], job_.root, 2)), IsRefused(Reason::kWithdrawn)) << "its notices stay";
  EXPECT_THAT(write(request(sealed_[1], job_.root, 2)), IsRefused(Reason::kWithdrawn))
      << "what it dropped is back";
  wanted = request(sealed_[1], job_.root, 2);
  wanted.withdrawals = named("list", withdrawals(job_.root, 3, desk_, {sealed_[1].digest}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kWithdrawn));
  wanted = request(sealed_[2], job_.root, 2);
  wanted.withdrawals = named("list", withdrawals(job_.root, 3, desk_, {sealed_[1].digest}));
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kWithdrawn))
      << "the old list again is not the next one";
  wanted.withdrawals = named("list", withdrawals(job_.root, 4, desk_, {sealed_[1].digest}));
  EXPECT_THAT(check_bundle(wanted), IsAccepted()) << "the shop's next list settles it";
}

// 6: trust file and clock.
class Times : public Memory {};

TEST_F(Times, EveryVerdictStatesTheTrustFile) {
  const Verdict verdict = check_bundle(request(sealed_[1], job_.root, 7));
  EXPECT_EQ(trust_file_text(verdict), "version 7 of 2026-01-02T03:04:05Z (claimed)");
  CheckRequest refused = request(sealed_[1], job_.root, 7);
  refused.bundle.resize(100);
  EXPECT_EQ(check_bundle(refused).trust_version, 7U);
  refused.trust.resize(100);
  EXPECT_EQ(trust_file_text(check_bundle(refused)), "");
}

TEST_F(Times, AFrozenTrustFileIsSaid) {
  CheckRequest wanted = request(sealed_[1]);
  wanted.now = *parse_time("2027-02-06T03:04:04Z");
  EXPECT_FALSE(has_caution(check_bundle(wanted), "trust-file-old"));
  wanted.now = *parse_time("2027-02-06T03:04:05Z");
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "trust-file-old"));
}

class Trials : public Memory {
 protected:
  Trials() {
    SealRequest request = request_for(2);
    request.statement.expires = "2029-03-11T00:00:00Z";
    trial_ = made(request);
    CheckRequest wrong = this->request(sealed_[1]);
    wrong.now = *parse_time("2090-01-01T00:00:00Z");
    write(wrong);
  }
  SealedBundle trial_;
};

TEST_F(Trials, OneWrongClockIsBoundBySignedTimes) {
  EXPECT_EQ(state().last_time, "2027-04-08T05:06:07Z");
  EXPECT_THAT(look(trial_), IsRefused(Reason::kClockImplausible));
  CheckRequest later = request(trial_);
  later.now = *parse_time("2027-04-08T05:06:07Z");
  EXPECT_THAT(check_bundle(later), IsAccepted());
}

TEST_F(Trials, ThePersonSettlesWhichClockWasRight) {
  CheckRequest wanted = request(trial_);
  wanted.declared_clock = true;
  ASSERT_THAT(write(wanted), IsAccepted());
  EXPECT_EQ(state().last_time, "2026-03-04T05:07:07Z");
  EXPECT_THAT(look(trial_), IsAccepted()) << "settled for good";
}

TEST_F(Trials, TheWordLengthensNoTrial) {
  CheckRequest wanted = request(trial_);
  wanted.declared_clock = true;
  wanted.now = *parse_time("2029-03-11T00:00:00Z");
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kExpired));
  wanted.now = *parse_time("2026-03-04T05:06:06Z");
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kClockImplausible)) << "before the time of sealing";
}

}  // namespace
}  // namespace calseal
