#include "calseal/sign/withdraw.h"

#include <gtest/gtest.h>

#include "support/bent_bundle.h"
#include "support/matchers.h"
#include "support/revision_digest.h"
#include "support/small_job.h"

namespace calseal {
namespace {

WithdrawalNotice notice(std::uint8_t value, const std::string& text) {
  WithdrawalNotice out;
  out.revision = revision(value);
  out.job = "job-7";
  out.controller = "engine";
  out.text = text;
  return out;
}

constexpr const char* kWithdrawTime = "2026-03-04T05:06:07Z";
constexpr const char* kLater = "2026-03-05T05:06:07Z";
constexpr const char* kFresh = "2026-09-04T05:06:07Z";

struct Desk : SmallJob {
  Desk() {
    trust.keys.push_back(small_trusted(desk, "Desk", Role::kWithdrawal));
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  }
  PrivateKey desk = small_key(5);
};

TEST(Notice, SaysWhichRevisionItIsAbout) {
  const SmallJob job;
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9));
  const auto made = notice_against(sealed->file, "b");
  ASSERT_THAT(made, IsOk());
  EXPECT_EQ(made->revision, sealed->digest);
  EXPECT_EQ(made->job, "job-7");
  EXPECT_EQ(made->controller, "engine");
}

TEST(Notice, NeverAgainstTheWayBack) {
  const SmallJob job;
  EXPECT_THAT(notice_against(job.seal_base()->file, "b"), FailsWith(Reason::kUsage, "revision"));
}

// What a thief sealed can be withdrawn, whoever signed it.
TEST(Notice, AlsoAgainstWhatStrangersSigned) {
  const SmallJob job;
  BentBundle bent(*job.seal_revision(1, edited_small(job.base, 9)));
  bent.sign({job.stranger});
  EXPECT_THAT(notice_against(bent.file(), "b"), IsOk());
  EXPECT_THAT(notice_against(Bytes(100, 0), "b"), FailsWith(Reason::kNotABundle));
}

TEST(NextWithdrawals, NoticesAccumulateAndTheNumberGrows) {
  const Desk job;
  const KeyId root = job.root.id();
  const auto first =
      next_withdrawals(std::nullopt, {notice(5, "five"), notice(2, "two")}, root, kWithdrawTime, kFresh);
  ASSERT_THAT(first, IsOk());
  EXPECT_EQ(first->number, 1U);
  ASSERT_EQ(first->notices.size(), 2U);
  EXPECT_EQ(first->notices[0].text, "two");
  const auto second =
      next_withdrawals(*first, {notice(3, "three"), notice(2, "two again")}, root, kLater, kFresh);
  ASSERT_THAT(second, IsOk());
  EXPECT_EQ(second->number, 2U);
  std::vector<std::string> texts;
  for (const WithdrawalNotice& one : second->notices) texts.push_back(one.text);
  EXPECT_EQ(texts, (std::vector<std::string>{"two again", "three", "five"}));
  // Also without any news: a list that is only fresh again.
  const auto third = next_withdrawals(*second, {}, root, kLater, kFresh);
  ASSERT_THAT(third, IsOk());
  EXPECT_EQ(third->number, 3U);
  EXPECT_EQ(third->notices, second->notices);
  EXPECT_THAT(next_withdrawals(*second, {}, root, kWithdrawTime, kFresh),
              FailsWith(Reason::kUsage, "claimed time"));
}

TEST(NextWithdrawals, NobodyIsSentToAWithdrawnRevision) {
  WithdrawalNotice back = notice(2, "two");
  back.go_back = true;
  back.go_to = revision(1);
  const KeyId root = small_key(1).id();
  const auto first = next_withdrawals(std::nullopt, {back}, root, kWithdrawTime, kFresh);
  EXPECT_EQ(first->notices[0].go_to, revision(1));
  const auto second = next_withdrawals(*first, {notice(1, "one")}, root, kLater, kFresh);
  ASSERT_THAT(second, IsOk());
  EXPECT_EQ(second->find(revision(2))->go_to, std::nullopt);
  EXPECT_TRUE(second->find(revision(2))->go_back);
}

TEST(NextWithdrawals, AFullListIsSaid) {
  std::vector<WithdrawalNotice> many;
  for (std::size_t i = 0; i <= kNoticeLimit; ++i) {
    many.push_back(notice(0, ""));
    many.back().revision.bytes[0] = static_cast<std::uint8_t>(i >> 8);
    many.back().revision.bytes[1] = static_cast<std::uint8_t>(i);
  }
  EXPECT_THAT(next_withdrawals(std::nullopt, many, KeyId{}, kWithdrawTime, kFresh),
              FailsWith(Reason::kUsage, "notices"));
}

TEST(WithdrawalSealing, GivesWhatReadersAccept) {
  const Desk job;
  const auto list = next_withdrawals(std::nullopt, {notice(5, "five")}, job.root.id(), kWithdrawTime, kFresh);
  const auto file = seal_withdrawals(*list, {job.desk}, job.trust);
  ASSERT_THAT(file, IsOk());
  WithdrawalList read = *list;
  read.keys = {job.desk.id()};
  EXPECT_THAT(parse_withdrawals(view_of(*file), job.trust, "w"), IsOkAnd(read));
}

TEST(WithdrawalSealing, RefusesWhatReadersWouldRefuse) {
  Desk job;
  const auto list = next_withdrawals(std::nullopt, {notice(5, "five")}, job.root.id(), kWithdrawTime, kFresh);
  EXPECT_THAT(seal_withdrawals(*list, {}, job.trust), FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(seal_withdrawals(*list, {job.author}, job.trust), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(seal_withdrawals(*list, {job.stranger}, job.trust), FailsWith(Reason::kSignerUnknown));
  WithdrawalList other = *list;
  other.root = job.author.id();
  EXPECT_THAT(seal_withdrawals(other, {job.desk}, job.trust),
              FailsWith(Reason::kWithdrawalsInvalid, "/root"));
  WithdrawalList stale = *list;
  stale.fresh_until = kWithdrawTime;
  EXPECT_THAT(seal_withdrawals(stale, {job.desk}, job.trust), FailsWith(Reason::kWithdrawalsInvalid));
}

}  // namespace
}  // namespace calseal
