// Sets: engine and transmission that are only valid together, through the whole checker.
#include "calseal/check/partners.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/sign/set_make.h"
#include "calseal/sign/statement_sign.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

SmallMap transmission_map() {
  SmallMap map;
  map.controller = "transmission";
  return map;
}

class Partners : public ::testing::Test {
 protected:
  Partners() {
    std::tie(engine_, transmission_) = made_pair(1, false);
    std::tie(later_engine_, later_transmission_) = made_pair(2, true);
  }

  static SealedBundle made(const SmallJob& job, const SealRequest& request) {
    auto sealed = seal(request, {job.author}, job.trust);
    if (!sealed) throw std::runtime_error(sealed.error().place + sealed.error().found);
    return *std::move(sealed);
  }

  // Both revisions sealed alone, described as a set, and sealed again as its members.
  std::pair<SealedBundle, SealedBundle> made_pair(std::uint64_t revision, bool drivable) const {
    const auto value = static_cast<std::uint8_t>(revision);
    SealRequest engine = engine_job_.request(revision, edited_small(engine_job_.base, value));
    SealRequest transmission = transmission_job_.request(
        revision, edited_small(transmission_job_.base, static_cast<std::uint8_t>(value + 1)));
    const auto set =
        make_set({made(engine_job_, engine).manifest, made(transmission_job_, transmission).manifest},
                 {"transmission", "engine"}, drivable);
    if (!set) throw std::runtime_error(set.error().found);
    engine.statement.set = transmission.statement.set = *set;
    return {made(engine_job_, engine), made(transmission_job_, transmission)};
  }

  CheckRequest request(const SealedBundle& bundle, std::vector<const SealedBundle*> partners) const {
    const bool is_engine = bundle.manifest.controller().name == "engine";
    const SmallJob& job = is_engine ? engine_job_ : transmission_job_;
    CheckRequest request = job.check_request(bundle.file, job.base);
    for (const SealedBundle* partner : partners)
      request.partners.push_back({"partner.calseal", partner->file});
    return request;
  }
  Verdict check(const SealedBundle& bundle, std::vector<const SealedBundle*> partners) const {
    return check_bundle(request(bundle, std::move(partners)));
  }

  SmallJob engine_job_, transmission_job_{transmission_map()};
  SealedBundle engine_, transmission_, later_engine_, later_transmission_;
};

TEST_F(Partners, BothTogether) {
  const Verdict verdict = check(engine_, {&transmission_});
  ASSERT_THAT(verdict, IsAccepted());
  ASSERT_EQ(verdict.partners.size(), 2U);
  EXPECT_EQ(verdict.partners[0].controller, "transmission") << "in the order of writing";
  EXPECT_TRUE(verdict.partners[0].given && verdict.partners[1].given);
  EXPECT_FALSE(verdict.drivable_between_writes);
  EXPECT_TRUE(has_caution(verdict, "set") && has_caution(verdict, "set-second-write"));
  EXPECT_THAT(check(transmission_, {&engine_}), IsAccepted());
  EXPECT_TRUE(check(later_engine_, {&later_transmission_}).drivable_between_writes);
}

TEST_F(Partners, OneAloneSaysWhatIsMissing) {
  const Verdict verdict = check(engine_, {});
  ASSERT_THAT(verdict, IsRefused(Reason::kSetIncomplete));
  EXPECT_NE(verdict.reason->found.find("transmission base 1 sequence 2"), std::string::npos);
}

TEST_F(Partners, EveryMixtureIsRefused) {
  EXPECT_THAT(check(engine_, {&later_transmission_}), IsRefused(Reason::kSetMismatch));
  EXPECT_THAT(check(later_engine_, {&transmission_}), IsRefused(Reason::kSetMismatch));
  EXPECT_THAT(check(engine_, {&engine_}), IsRefused(Reason::kSetMismatch));
  EXPECT_THAT(check(engine_, {&transmission_, &transmission_}), IsRefused(Reason::kSetMismatch));
  EXPECT_THAT(check(engine_, {&transmission_, &later_transmission_}), IsRefused(Reason::kSetMismatch));
  const SealedBundle alone =
      made(transmission_job_, transmission_job_.request(1, edited_small(transmission_job_.base, 2)));
  EXPECT_THAT(check(engine_, {&alone}), IsRefused(Reason::kSetMismatch));
  const SealedBundle engine_alone =
      made(engine_job_, engine_job_.request(1, edited_small(engine_job_.base, 1)));
  EXPECT_THAT(check(engine_alone, {&transmission_}), IsRefused(Reason::kSetMismatch));
  // Two of no set are no set either.
  EXPECT_THAT(check(engine_alone, {&alone}), IsRefused(Reason::kSetMismatch));
}

// The descriptor names no vehicle, so two members may agree on everything but that.
TEST_F(Partners, AMemberOfAnotherVehicleIsRefused) {
  SealRequest request = transmission_job_.request(1, edited_small(transmission_job_.base, 2));
  const auto set = engine_.manifest.set;
  const auto described =
      make_set({engine_.manifest, transmission_.manifest}, {"transmission", "engine"}, false);
  ASSERT_TRUE(described);
  request.statement.set = *described;
  request.statement.vehicle_reference = "red van";
  const SealedBundle other = made(transmission_job_, request);
  ASSERT_EQ(other.manifest.set, set);
  EXPECT_THAT(check(engine_, {&other}), IsRefused(Reason::kSetMismatch));
  request.statement.vehicle_reference = engine_.manifest.vehicle_reference;
  request.salt = Bytes(kSaltSize, 0x11);
  const SealedBundle other_salt = made(transmission_job_, request);
  ASSERT_EQ(other_salt.manifest.set, set);
  EXPECT_THAT(check(engine_, {&other_salt}), IsRefused(Reason::kSetMismatch));
}

// The way back must not wait for a file that is not at hand.
TEST_F(Partners, RevisionZeroOfASetNeedsNoPartner) {
  SealRequest engine = engine_job_.request(0, engine_job_.base);
  SealRequest transmission = transmission_job_.request(0, transmission_job_.base);
  const auto set =
      make_set({made(engine_job_, engine).manifest, made(transmission_job_, transmission).manifest},
               {"transmission", "engine"}, false);
  ASSERT_TRUE(set);
  engine.statement.set = *set;
  const Verdict verdict = check(made(engine_job_, engine), {});
  EXPECT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "set-not-shown"));
}

// The list is of one controller; the partner is another.
TEST_F(Partners, TheListOfOneControllerSaysNothingOfTheOther) {
  JobList list;
  list.root = engine_job_.root.id();
  list.job = "job-7";
  list.controller = "engine";
  list.claimed_time = time_text(engine_job_.time);
  list.revisions = {{engine_.digest, 1, 1, engine_.manifest.sequence}};
  const auto text = sign_statement(write_job_list_text(list), {engine_job_.author});
  ASSERT_TRUE(text);
  CheckRequest wanted = request(engine_, {&transmission_});
  wanted.job_list = NamedBytes{"list", Bytes(text->begin(), text->end())};
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
}

TEST_F(Partners, APartnerIsJudgedLikeTheBundleItself) {
  CheckRequest wanted = request(engine_, {&transmission_});
  wanted.partners[0].bytes[wanted.partners[0].bytes.size() / 2] ^= 1U;
  const Verdict verdict = check_bundle(wanted);
  ASSERT_EQ(verdict.outcome, Outcome::kRefused);
  EXPECT_EQ(verdict.reason->file, "partner.calseal");
}

TEST_F(Partners, AnOldPartnerIsRefused) {
  CheckRequest first = request(later_transmission_, {&later_engine_});
  first.state = NamedBytes{"s", {}};
  const Verdict written = check_bundle(first);
  ASSERT_THAT(written, IsAccepted());
  CheckRequest wanted = request(engine_, {&transmission_});
  wanted.state = NamedBytes{"s", Bytes(written.state_after_write.begin(), written.state_after_write.end())};
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsRefused(Reason::kSequenceOld));
  EXPECT_EQ(verdict.reason->file, "partner.calseal");
}

TEST_F(Partners, LeavingTheSetIsSaid) {
  CheckRequest first = request(engine_, {&transmission_});
  first.state = NamedBytes{"s", {}};
  const Verdict written = check_bundle(first);
  ASSERT_THAT(written, IsAccepted());
  SealRequest next = engine_job_.request(2, edited_small(engine_job_.base, 7));
  CheckRequest wanted = request(made(engine_job_, next), {});
  wanted.state = NamedBytes{"s", Bytes(written.state_after_write.begin(), written.state_after_write.end())};
  const Verdict verdict = check_bundle(wanted);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "set-left"));
}

TEST_F(Partners, TheSealAloneNeedsNoPartner) {
  CheckRequest wanted = request(engine_, {});
  wanted.seal_only = true;
  const Verdict verdict = check_bundle(wanted);
  EXPECT_EQ(verdict.outcome, Outcome::kAuthentic);
  EXPECT_TRUE(has_caution(verdict, "set-not-shown"));
  wanted = request(engine_, {&later_transmission_});
  wanted.seal_only = true;
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kSetMismatch));
}

TEST_F(Partners, MakingASet) {
  const Manifest engine = engine_.manifest;
  const Manifest transmission = transmission_.manifest;
  const auto reason = [](const Result<SetDescriptor>& set) {
    return set ? Reason::kInternal : set.error().reason;
  };
  EXPECT_TRUE(make_set({engine, transmission}, {}, false));
  EXPECT_EQ(make_set({engine, transmission}, {}, false)->write_order,
            (std::vector<std::string>{"engine", "transmission"}));
  EXPECT_EQ(reason(make_set({engine}, {}, false)), Reason::kUsage);
  EXPECT_EQ(reason(make_set({engine, engine}, {}, false)), Reason::kUsage);
  EXPECT_EQ(reason(make_set({engine, transmission}, {"engine"}, false)), Reason::kUsage);
  EXPECT_EQ(reason(make_set({engine, transmission}, {"engine", "engine"}, false)), Reason::kUsage);
  Manifest other = transmission;
  other.job = "job-8";
  EXPECT_EQ(reason(make_set({engine, other}, {}, false)), Reason::kSetMismatch);
  other = transmission;
  other.salt_digest = compute_sha256(view_of("another vehicle"));
  EXPECT_EQ(reason(make_set({engine, other}, {}, false)), Reason::kSetMismatch);
  other = transmission;
  other.vehicle_reference = "red van";
  EXPECT_EQ(reason(make_set({engine, other}, {}, false)), Reason::kSetMismatch);
}

}  // namespace
}  // namespace calseal
