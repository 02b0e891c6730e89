// Sealing with another region map than the revision before: approvals are kept, and what customers would
// refuse is not sealed.
#include "calseal/sign/seal_rules.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/trust/approval.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

RegionMap map_with(const char* version, const char* more_regions = "") {
  std::string text = small_map_text();
  const auto replace = [&](std::string_view what, const std::string& by) {
    text.replace(text.find(what), what.size(), by);
  };
  replace(R"("version":3)", "\"version\":" + std::string(version));
  replace(R"("regions":[)", R"("regions":[)" + std::string(more_regions));
  return *parse_region_map(Bytes(text.begin(), text.end()), "small.json");
}

constexpr const char* kBoost =
    R"({"name":"boost","memory":"flash","start":"0x80000300","size":32,"policy":"editable"},)";

class SealRules : public ::testing::Test {
 protected:
  NamedBytes approval(const RegionMap& from, const RegionMap& to, const PrivateKey& key,
                      const char* controller = "engine", const char* text = "") const {
    const Approval said{controller, from.digest, to.digest, time_text(job_.time), text, {}};
    const std::string file = *sign_statement(write_approval_text(said), {key});
    return {"a", Bytes(file.begin(), file.end())};
  }
  Result<SealedBundle> sealed(const RegionMap& map, FollowedRules followed,
                              std::vector<NamedBytes> approvals = {}) const {
    SealRequest request = job_.request(1, edited_small(job_.base, 9));
    request.map = &map;
    request.followed = std::move(followed);
    request.statement.approvals = std::move(approvals);
    return seal(request, {job_.author}, job_.trust);
  }

  SmallJob job_;
  const RegionMap first_ = map_with("3"), wide_ = map_with("4", kBoost);
};

TEST_F(SealRules, WhatCustomersWouldRefuseIsNotSealed) {
  EXPECT_THAT(sealed(wide_, {first_, {}}), FailsWith(Reason::kRulesWidened));
  EXPECT_THAT(sealed(wide_, {map_with("4"), {}}), FailsWith(Reason::kRulesChanged));
  EXPECT_THAT(sealed(first_, {wide_, {}}), IsOk()) << "less is allowed";
  EXPECT_THAT(sealed(wide_, {wide_, {}}), IsOk());
  EXPECT_THAT(sealed(wide_, {}), IsOk()) << "nothing is followed";
}

TEST_F(SealRules, AnApprovalIsSealedInAndCarriedOn) {
  const auto approved = sealed(wide_, {first_, {}}, {approval(first_, wide_, job_.root)});
  ASSERT_THAT(approved, IsOk());
  ASSERT_EQ(approved->manifest.approvals.size(), 1U);
  const auto next =
      sealed(wide_, {wide_, approved->manifest.approvals}, {approval(first_, wide_, job_.root)});
  ASSERT_THAT(next, IsOk());
  EXPECT_EQ(next->manifest.approvals, approved->manifest.approvals) << "once";
}

TEST_F(SealRules, AnApprovalThatDoesNotCountIsNotSealedIn) {
  EXPECT_THAT(sealed(wide_, {first_, {}}, {approval(first_, wide_, job_.author)}),
              FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(sealed(wide_, {first_, {}}, {approval(first_, wide_, job_.root, "transmission")}),
              FailsWith(Reason::kApprovalInvalid, "/controller"));
  EXPECT_THAT(sealed(wide_, {first_, {}}, {approval(wide_, first_, job_.root)}),
              FailsWith(Reason::kRulesWidened))
      << "it leads the other way";
}

TEST_F(SealRules, TheOldestGiveWay) {
  FollowedRules followed{first_, {}};
  for (std::size_t i = 0; i < kApprovalLimit; ++i) {
    const NamedBytes one =
        approval(first_, wide_, job_.root, "engine", ("reason " + std::to_string(i)).c_str());
    followed.approvals.emplace_back(one.bytes.begin(), one.bytes.end());
  }
  const std::vector<std::string> before = followed.approvals;
  const auto made = sealed(wide_, followed, {approval(first_, wide_, job_.root)});
  ASSERT_THAT(made, IsOk());
  ASSERT_EQ(made->manifest.approvals.size(), kApprovalLimit);
  EXPECT_EQ(made->manifest.approvals.front(), before[1]);
}

}  // namespace
}  // namespace calseal
