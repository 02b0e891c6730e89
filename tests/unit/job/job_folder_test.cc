// The layer as a library, on the small invented job: folder, loop, reissue, new base.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "calseal/job/carry.h"
#include "calseal/job/layout.h"
#include "calseal/job/new_job.h"
#include "calseal/job/note.h"
#include "calseal/job/reissue.h"
#include "calseal/job/send.h"
#include "calseal/trust/approval.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/small_job.h"

namespace calseal {
namespace {

class JobFolder : public ::testing::Test {
 protected:
  JobFolder() {
    signing.keys = [this] { return SigningKeys{small.author}; };
    signing.trust = &small.trust;
    signing.trust_file = {"shop.trust", small.trust_file()};
    signing.now = small.time;
    signing.tool = "tests";
  }

  NewController small_controller() const {
    return {SmallJob::files_of(small.base), small.map.text, "small.json", {}, false};
  }
  Result<MadeJob> open(bool with_key = true) const {
    NewJob request;
    request.folder = whole();
    request.job = "job-7";
    request.vehicle_reference = "blue estate";
    request.controllers = {small_controller()};
    request.salt = small.salt;
    return make_job(request, with_key ? std::optional(signing) : std::nullopt,
                    [](const NewJob&, const std::vector<OpenedBase>&) { return std::string("way back\n"); });
  }
  std::string whole() const { return scratch.path("job-7"); }
  std::string folder() const { return whole() + "/" + small.map.controller; }
  VehicleJob read_whole() const {
    auto job = read_vehicle_job(whole(), {&small.trust, nullptr});
    if (!job) throw std::runtime_error(job.error().found);
    return *std::move(job);
  }
  Job read() const { return read_whole().controllers.front(); }
  Result<std::vector<Noted>> note_of(EventKind kind, std::uint64_t revision,
                                     const std::string& detail = "") const {
    return note(read_whole(), {kind, "", std::nullopt, revision, detail, {}}, small.time);
  }
  void happens(EventKind kind, std::uint64_t revision, const std::string& detail = "") const {
    ASSERT_THAT(note_of(kind, revision, detail), IsOk());
  }
  void deliver_way_back() const {
    happens(EventKind::kSent, 0, "mail");
    happens(EventKind::kAcknowledged, 0);
  }
  Result<Sent> send_edit(std::uint8_t value) const {
    SendRequest request;
    request.edited = SmallJob::files_of(edited_small(small.base, value));
    CALSEAL_ASSIGN(SentTogether sent, send(read_whole(), {std::move(request)}, std::nullopt, signing,
                                           [](const SentTogether&) { return std::string("sent\n"); }));
    return std::move(sent.parts.front());
  }
  Bytes bundle(const std::string& file) const { return *read_file(folder() + "/" + file, kBundleSizeLimit); }

  ScratchFolder scratch;
  SmallJob small;
  Signing signing;
};

TEST_F(JobFolder, IsMadeWholeAndOnlyOnce) {
  ASSERT_THAT(open(), IsOk());
  const Job job = read();
  EXPECT_TRUE(job.findings.empty());
  EXPECT_EQ(job.bases.size(), 1U);
  EXPECT_TRUE(job.base().way_back()->verified);
  struct stat status {};
  ASSERT_EQ(::stat((folder() + "/job.salt").c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777U, 0600U);
  EXPECT_THAT(open(), FailsWith(Reason::kOutputExists));
}

TEST_F(JobFolder, TheWayBackComesFirst) {
  ASSERT_THAT(open(false), IsOk());
  EXPECT_THAT(send_edit(0x21), FailsWith(Reason::kJobOrder));
  ASSERT_THAT(seal_way_back(read(), signing), IsOk());
  EXPECT_THAT(seal_way_back(read(), signing), FailsWith(Reason::kJobOrder));
  EXPECT_THAT(note_of(EventKind::kAcknowledged, 0), FailsWith(Reason::kJobOrder));
  happens(EventKind::kSent, 0, "mail");
  // A revision may be sealed before; it is sending that waits.
  const auto early = send_edit(0x21);
  ASSERT_THAT(early, IsOk());
  EXPECT_FALSE(early->way_back_acknowledged);
  EXPECT_THAT(note_of(EventKind::kSent, 1, "mail"), FailsWith(Reason::kJobOrder));
  happens(EventKind::kAcknowledged, 0);
  happens(EventKind::kSent, 1, "mail");
  const auto later = send_edit(0x22);
  ASSERT_THAT(later, IsOk());
  EXPECT_TRUE(later->way_back_acknowledged);
}

TEST_F(JobFolder, WhatIsSentIsWhatTheCustomerRebuilds) {
  ASSERT_THAT(open(), IsOk());
  deliver_way_back();
  for (std::uint8_t value = 0x21; value < 0x24; ++value) {
    const auto sent = send_edit(value);
    ASSERT_THAT(sent, IsOk());
    const Verdict verdict = small.check(bundle(sent->bundle), small.base);
    EXPECT_EQ(verdict.outcome, Outcome::kAccepted);
    EXPECT_EQ(rebuilt_small(verdict), edited_small(small.base, value));
  }
  const Job job = read();
  EXPECT_TRUE(job.findings.empty());
  ASSERT_EQ(job.base().revisions.size(), 4U);
  for (std::size_t i = 1; i < 4; ++i)
    EXPECT_EQ(job.base().revisions[i].manifest.parent, job.base().revisions[i - 1].digest);
}

TEST_F(JobFolder, GivenAgainItIsTheSameContentUnderAnotherIdentity) {
  ASSERT_THAT(open(), IsOk());
  deliver_way_back();
  ASSERT_THAT(send_edit(0x21), IsOk());
  ASSERT_THAT(send_edit(0x22), IsOk());
  const auto again = reissue(read(), 1, signing);
  ASSERT_THAT(again, IsOk());
  EXPECT_EQ(again->passed_over, (std::vector<std::uint64_t>{2}));
  const Job job = read();
  EXPECT_TRUE(job.findings.empty());
  const JobRevision& first = job.base().revisions[1];
  const JobRevision& later = job.base().revisions[3];
  EXPECT_EQ(later.reissue_of, first.digest);
  EXPECT_NE(later.digest, first.digest);
  EXPECT_EQ(later.manifest.parent, first.manifest.parent);
  EXPECT_EQ(later.manifest.revision, first.manifest.revision);
  EXPECT_EQ(later.manifest.title, first.manifest.title);
  EXPECT_EQ(later.manifest.controller().pinned_after, first.manifest.controller().pinned_after);
  EXPECT_EQ(later.manifest.controller().spans, first.manifest.controller().spans);
  EXPECT_EQ(later.manifest.controller().payload_kind, PayloadKind::kFull);
  EXPECT_EQ(later.manifest.sequence, 4U);
  EXPECT_EQ(later.manifest.permitted_returns, (std::vector<Sha256>{job.base().revisions[2].digest}));
  // On whatever the controller holds now, with its own learned values.
  const SmallImage now = driven_small(edited_small(small.base, 0x22), 0x33);
  const Verdict verdict = small.check(bundle(again->bundle), now);
  EXPECT_EQ(rebuilt_small(verdict), driven_small(edited_small(small.base, 0x21), 0x33));
  // Again of an again stands for the first.
  const auto third = reissue(read(), 1, signing);
  ASSERT_THAT(third, IsOk());
  EXPECT_EQ(read().base().revisions[4].reissue_of, first.digest);
}

TEST_F(JobFolder, AWithdrawnRevisionGoesNowhere) {
  ASSERT_THAT(open(), IsOk());
  deliver_way_back();
  ASSERT_THAT(send_edit(0x21), IsOk());
  happens(EventKind::kWithdrawn, 1, "too lean");
  EXPECT_THAT(note_of(EventKind::kSent, 1, "mail"), FailsWith(Reason::kWithdrawn));
  EXPECT_THAT(reissue(read(), 1, signing), FailsWith(Reason::kWithdrawn));
  EXPECT_THAT(note_of(EventKind::kWithdrawn, 0, "x"), FailsWith(Reason::kUsage));
  EXPECT_THAT(note_of(EventKind::kSealed, 1), FailsWith(Reason::kUsage));
}

TEST_F(JobFolder, ANewBaseHasItsOwnWayBack) {
  ASSERT_THAT(open(), IsOk());
  deliver_way_back();
  ASSERT_THAT(send_edit(0x21), IsOk());
  SmallImage updated = small.base;
  updated.flash[0x3f] ^= 0x55;
  correct_small(updated);
  CarryRequest request{SmallJob::files_of(updated), {}, "", "", {}};
  EXPECT_THAT(carry(read(), request, signing), FailsWith(Reason::kUsage, "--reason"));
  request.reason = "dealer's update";
  EXPECT_THAT(carry(read(), {SmallJob::files_of(driven_small(small.base, 3)), {}, "", "x", {}}, signing),
              FailsWith(Reason::kUsage, "READ"));
  const auto made = carry(read(), request, signing);
  ASSERT_THAT(made, IsOk());
  const Job job = read();
  EXPECT_TRUE(job.findings.empty());
  ASSERT_EQ(job.bases.size(), 2U);
  EXPECT_EQ(job.base().reason, "dealer's update");
  EXPECT_EQ(job.base().way_back()->manifest.parent, job.bases[0].newest()->digest);
  EXPECT_EQ(job.base().way_back()->manifest.sequence, 3U);
  EXPECT_THAT(send_edit(0x22), FailsWith(Reason::kChangeLocked)) << "an edit of the old base";
  EXPECT_EQ(rebuilt_small(small.check(bundle(made->bundle), updated)), updated);
  EXPECT_EQ(small.check(bundle("base-1/r1.calseal"), updated).outcome, Outcome::kRefused);
}

// The new base may need another map; the customer's checker compares it with that of the newest revision.
TEST_F(JobFolder, ANewBaseWithAMapThatAllowsMoreIsApprovedFirst) {
  ASSERT_THAT(open(), IsOk());
  deliver_way_back();
  ASSERT_THAT(send_edit(0x21), IsOk());
  SmallImage updated = small.base;
  updated.flash[0x3f] ^= 0x55;
  correct_small(updated);
  std::string text = small_map_text();
  const auto replace = [&](std::string_view what, std::string_view by) {
    text.replace(text.find(what), what.size(), by);
  };
  replace(R"("version":3)", R"("version":4)");
  replace(
      R"("regions":[)",
      R"("regions":[{"name":"boost","memory":"flash","start":"0x80000300","size":32,"policy":"editable"},)");
  const Bytes map(text.begin(), text.end());
  const CarryRequest request{SmallJob::files_of(updated), map, "wide.json", "dealer's update", {}};
  EXPECT_THAT(carry(read(), request, signing), FailsWith(Reason::kRulesWidened));
  EXPECT_EQ(read().bases.size(), 1U) << "nothing is kept";
  const Approval said{"engine", small.map.digest, compute_sha256(map), time_text(small.time), "", {}};
  const std::string approval = *sign_statement(write_approval_text(said), {small.root});
  signing.approvals = {{"wide.approval", Bytes(approval.begin(), approval.end())}};
  ASSERT_THAT(carry(read(), request, signing), IsOk());
  signing.approvals.clear();
  deliver_way_back();
  small.base = updated;
  const auto sent = send_edit(0x22);
  ASSERT_THAT(sent, IsOk());
  EXPECT_EQ(sent->sealed.manifest.approvals, (std::vector<std::string>{approval})) << "carried on";
}

TEST_F(JobFolder, OneAtATime) {
  ASSERT_THAT(open(), IsOk());
  {
    const auto first = FolderLock::take(folder(), kJobFolder);
    ASSERT_THAT(first, IsOk());
    EXPECT_THAT(FolderLock::take(folder(), kJobFolder), FailsWith(Reason::kJobBusy));
  }
  EXPECT_THAT(FolderLock::take(folder(), kJobFolder), IsOk());
  EXPECT_THAT(FolderLock::take(folder() + "-2", kJobFolder), FailsWith(Reason::kFileMissing));
}

}  // namespace
}  // namespace calseal
