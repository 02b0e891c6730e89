// The step "rules", through the whole checker: each row of its table in docs/order.md.
#include "calseal/check/rules.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/approval.h"
#include "support/map_builder.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

std::string replaced(std::string text, std::string_view what, std::string_view by) {
  const std::size_t at = text.find(what);
  if (at == std::string::npos) throw std::runtime_error("not there: " + std::string(what));
  return text.replace(at, what.size(), by);
}

// The small map with another version, more regions, and whatever else is replaced.
RegionMap map_with(std::uint64_t version, std::string_view more_regions = "", std::string_view what = "",
                   std::string_view by = "") {
  std::string text = replaced(small_map_text(), R"("version":3)", "\"version\":" + std::to_string(version));
  text = replaced(text, R"("regions":[)", R"("regions":[)" + std::string(more_regions));
  if (!what.empty()) text = replaced(text, what, by);
  auto map = parse_region_map(Bytes(text.begin(), text.end()), "small.json");
  if (!map) throw std::runtime_error(map.error().place + " " + map.error().found);
  return *std::move(map);
}

constexpr const char* kBoost =
    R"({"name":"boost","memory":"flash","start":"0x80000300","size":32,"policy":"editable"},)";
constexpr const char* kShift =
    R"({"name":"shift","memory":"flash","start":"0x80000340","size":16,"policy":"editable"},)";

class Rules : public ::testing::Test {
 protected:
  Rules() {
    TrustedKey key = small_trusted(map_author_, "Cartographer", Role::kMapAuthor);
    job_.trust.keys.push_back(key);
    std::ranges::sort(job_.trust.keys, {}, &TrustedKey::id);
  }

  std::string approval(const RegionMap& from, const RegionMap& to, const PrivateKey& key,
                       const std::string& controller = "engine") const {
    const Approval said{
        controller, from.digest, to.digest, time_text(job_.time), "the boost table is ours now", {}};
    const auto text = sign_statement(write_approval_text(said), {key});
    if (!text) throw std::runtime_error(text.error().found);
    return *text;
  }
  std::string approval(const RegionMap& from, const RegionMap& to) const {
    return approval(from, to, map_author_);
  }

  // As a listed author may seal: with any map at any time. Approvals that count for nothing go in unasked.
  SealedBundle made(std::uint64_t revision, const RegionMap& map, std::uint64_t sequence,
                    std::vector<std::string> approvals = {}) const {
    SealRequest request = job_.request(
        revision, revision == 0 ? job_.base : edited_small(job_.base, static_cast<std::uint8_t>(sequence)));
    request.map = &map;
    request.statement.sequence = sequence;
    request.followed.approvals = std::move(approvals);
    auto sealed = seal(request, {signer_ == nullptr ? job_.author : *signer_}, job_.trust);
    if (!sealed) throw std::runtime_error(sealed.error().place + sealed.error().found);
    return *std::move(sealed);
  }

  CheckRequest request(const SealedBundle& bundle) const {
    CheckRequest request = job_.check_request(bundle.file, job_.base);
    request.now.seconds += 60;
    request.state = NamedBytes{"job.state", Bytes(state_.begin(), state_.end())};
    return request;
  }
  Verdict look(const SealedBundle& bundle) const { return check_bundle(request(bundle)); }
  Verdict write(const SealedBundle& bundle) {
    Verdict verdict = look(bundle);
    if (!verdict.reason) state_ = verdict.state_after_write;
    return verdict;
  }
  CheckerState state() const { return *parse_state(view_of(state_), "job.state"); }
  void forget_maps() {
    CheckerState state = this->state();
    state.maps.clear();
    state_ = write_state(state);
  }

  SmallJob job_;
  PrivateKey map_author_ = small_key(9);
  const PrivateKey* signer_ = nullptr;
  std::string state_;
  const RegionMap first_ = map_with(3), wide_ = map_with(4, kBoost);
};

TEST_F(Rules, WithoutAStateNothingIsAsked) {
  CheckRequest wanted = request(made(1, wide_, 2));
  wanted.state.reset();
  EXPECT_THAT(check_bundle(wanted), IsAccepted());
}

TEST_F(Rules, AFirstRevisionAndTheSameMapPass) {
  EXPECT_THAT(write(made(1, wide_, 2)), IsAccepted());
  EXPECT_THAT(write(made(2, wide_, 3)), IsAccepted());
  EXPECT_EQ(state().maps, (std::vector<Bytes>{wide_.text}));
}

TEST_F(Rules, AMapThatAllowsMoreIsRefused) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  const Verdict verdict = look(made(2, wide_, 3));
  ASSERT_THAT(verdict, IsRefusedAt(Reason::kRulesWidened, "regions/engine.json"));
  EXPECT_EQ(verdict.reason->found, "the shop's rules now allow 32 more bytes to change, boost among them");
  const auto rules = std::ranges::find(verdict.steps, "rules", &Step::name);
  ASSERT_NE(rules, verdict.steps.end());
  EXPECT_EQ(rules->state, StepState::kFailed);
  EXPECT_EQ(std::prev(rules)->name, "contents");
  EXPECT_EQ(std::next(rules)->name, "set");
}

TEST_F(Rules, AMapThatAllowsLessPasses) {
  ASSERT_THAT(write(made(1, wide_, 2)), IsAccepted());
  const RegionMap narrow = map_with(5);
  EXPECT_THAT(write(made(2, narrow, 3)), IsAccepted());
  EXPECT_THAT(look(made(3, wide_, 4)), IsRefused(Reason::kRulesWidened)) << "what was given up is gone";
}

// Row 3 comes before approvals and whatever is allowed.
TEST_F(Rules, TwoTextsUnderOneVersionAreRefused) {
  ASSERT_THAT(write(made(1, wide_, 2)), IsAccepted());
  const RegionMap narrow = map_with(4), wider = map_with(4, std::string(kBoost) + kShift);
  EXPECT_THAT(look(made(2, narrow, 3)), IsRefusedAt(Reason::kRulesChanged, "regions/engine.json"));
  EXPECT_THAT(look(made(2, wider, 3, {approval(wide_, wider)})), IsRefused(Reason::kRulesChanged));
}

TEST_F(Rules, AnApprovalLetsItPassAndTheVerdictBeginsWithIt) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  const SealedBundle bundle = made(2, wide_, 3, {approval(first_, wide_)});
  const Verdict verdict = write(bundle);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.cautions.front().code, "rules-widened");
  EXPECT_EQ(verdict.cautions.front().text,
            "the shop's rules now allow 32 more bytes to change, boost among them; approved by Cartographer "
            "at 2026-03-04T05:06:07Z (claimed): the boost table is ours now");
  EXPECT_FALSE(has_caution(look(bundle), "rules-widened")) << "the new rules are the known ones now";
  EXPECT_EQ(state().maps, (std::vector<Bytes>{wide_.text}));
}

TEST_F(Rules, TheRootMayApprove) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  EXPECT_THAT(look(made(2, wide_, 3, {approval(first_, wide_, job_.root)})), IsAccepted());
}

TEST_F(Rules, AnApprovalThatDoesNotCountIsAsIfItWereNotThere) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  const std::string by_author = approval(first_, wide_, job_.author);
  const std::string other = approval(first_, wide_, map_author_, "transmission");
  const std::string elsewhere = approval(wide_, first_);
  EXPECT_THAT(look(made(2, first_, 3, {by_author, "nothing"})), IsAccepted()) << "no fault of the bundle";
  const Verdict verdict = look(made(2, wide_, 3, {by_author, other, elsewhere}));
  ASSERT_THAT(verdict, IsRefused(Reason::kRulesWidened));
  EXPECT_NE(verdict.reason->found.find("approval 1 does not count: roles-missing"), std::string::npos);
  EXPECT_NE(verdict.reason->found.find("approval 2 does not count: it is for the controller transmission"),
            std::string::npos);
  job_.trust.version += 1;
  for (TrustedKey& key : job_.trust.keys) key.compromised = key.id == map_author_.id();
  EXPECT_THAT(look(made(2, wide_, 3, {approval(first_, wide_)})), IsRefused(Reason::kRulesWidened))
      << "a stolen key approves nothing";
}

// Whoever left out a revision still has the whole way.
TEST_F(Rules, ApprovalsLeadOverSeveralMaps) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  const RegionMap wider = map_with(5, std::string(kBoost) + kShift);
  EXPECT_THAT(look(made(2, wider, 3, {approval(wide_, wider)})), IsRefused(Reason::kRulesWidened));
  const Verdict verdict = look(made(2, wider, 3, {approval(wide_, wider), approval(first_, wide_)}));
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_NE(verdict.cautions.front().text.find("48 more bytes to change, boost, shift among them"),
            std::string::npos);
}

TEST_F(Rules, ARevisionZeroThatWasAcceptedPassesAndAnotherIsAsked) {
  const SealedBundle way_back = made(0, wide_, 1);
  ASSERT_THAT(write(way_back), IsAccepted());
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  EXPECT_THAT(look(way_back), IsAccepted());
  const RegionMap wider = map_with(5, std::string(kBoost) + kShift);
  EXPECT_THAT(look(made(0, wider, 3)), IsRefused(Reason::kRulesWidened))
      << "nobody knows that it is what was read";
}

TEST_F(Rules, WhereTheTextWasNotKeptNobodyCanTell) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  forget_maps();
  const RegionMap narrow = map_with(
      5, "", R"({"name":"mark","memory":"eeprom","start":"0x00000030","size":8,"policy":"editable"})",
      R"({"name":"mark","memory":"eeprom","start":"0x00000030","size":8,"policy":"editable","note":"n"})");
  EXPECT_THAT(look(made(2, narrow, 3)), IsRefused(Reason::kRulesWidened));
  EXPECT_THAT(look(made(2, first_, 3)), IsAccepted()) << "the digest is enough for the same map";
  const Verdict verdict = look(made(2, narrow, 3, {approval(first_, narrow)}));
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.cautions.front().code, "rules-widened");
  // Row 3 cannot be asked.
  const RegionMap same_version = map_with(3, kBoost);
  EXPECT_THAT(look(made(2, same_version, 3)), IsRefused(Reason::kRulesWidened));
}

// A text that cannot be read as a region map counts as not kept.
TEST_F(Rules, AStateWithATextThatIsNoMap) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  CheckerState state = this->state();
  const std::string nonsense = "no map";
  state.maps = {Bytes(nonsense.begin(), nonsense.end())};
  state.roots.front().jobs.front().revisions.front().map = compute_sha256(view_of(nonsense));
  state_ = write_state(state);
  EXPECT_THAT(look(made(2, first_, 3)), IsRefused(Reason::kRulesWidened));
}

TEST_F(Rules, AStateWithoutRoomSaysSo) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  CheckerState state = this->state();
  RootState& root = state.roots.front();
  for (std::size_t i = 0; state.maps.size() < kStateMapLimit; ++i) {
    const std::string text = "map " + std::to_string(i);
    state.maps.emplace_back(text.begin(), text.end());
    JobState& job = root.entry("other-" + std::to_string(i), "engine");
    job.revisions = root.find("job-7", "engine")->revisions;
    job.revisions.front().map = compute_sha256(view_of(text));
  }
  std::ranges::sort(state.maps, {}, [](const Bytes& text) { return compute_sha256(text); });
  root.entry("job-7", "engine").revisions.front().map = compute_sha256(view_of("map 0"));
  std::erase(state.maps, first_.text);
  state.maps.push_back(Bytes{'m', 'o', 'r', 'e'});
  root.entry("other-0", "engine").revisions.front().map = compute_sha256(view_of("more"));
  std::ranges::sort(state.maps, {}, [](const Bytes& text) { return compute_sha256(text); });
  root.jobs.erase(std::ranges::find(root.jobs, "job-7", &JobState::job));
  root.entry("other-x", "engine").revisions = root.find("other-1", "engine")->revisions;
  root.entry("other-x", "engine").revisions.front().map = compute_sha256(view_of("map 0"));
  state_ = write_state(state);
  ASSERT_TRUE(parse_state(view_of(state_), "s"));
  const Verdict verdict = write(made(1, first_, 2));
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_TRUE(has_caution(verdict, "rules-not-kept"));
  EXPECT_THAT(look(made(2, wide_, 3)), IsRefused(Reason::kRulesWidened));
}

TEST_F(Rules, ALookAtTheSealAsksToo) {
  ASSERT_THAT(write(made(1, first_, 2)), IsAccepted());
  CheckRequest wanted = request(made(2, wide_, 3));
  wanted.seal_only = true;
  EXPECT_THAT(check_bundle(wanted), IsRefused(Reason::kRulesWidened));
}

// A key may be held to some maps; approvals lead on from those.
TEST_F(Rules, AKeyThatIsHeldToAMapFollowsItsApprovals) {
  job_.author_entry().region_maps = {first_.digest};
  const std::string approved = approval(first_, wide_);
  EXPECT_THAT(write(made(1, first_, 2)), IsAccepted());
  EXPECT_THAT(look(made(2, wide_, 3, {approved})), IsAccepted());
  SealRequest request = job_.request(2, edited_small(job_.base, 3));
  request.map = &wide_;
  EXPECT_THAT(seal(request, {job_.author}, job_.trust), FailsWith(Reason::kKeyScope));
}

TEST(WideningText, SaysWhatIsGoneAndWhatIsLooser) {
  const auto base = [] { return MapBuilder().memory("flash", 0, 0x1000).region("a", "editable", 0, 16); };
  const RegionMap before = base()
                               .checksum("tables", kCrc32, {range_at(0, 16)}, {slot_at(0x20, 4)})
                               .field("serial", "serial", 0x30, 8, "ascii", R"("binds": true)")
                               .parse();
  const RegionMap after = base().patch("limit", 0x100, "00", "01").parse();
  EXPECT_EQ(widening_text(diff_region_maps(before, after), after),
            "the shop's rules are looser now: permitted patch limit is new, checksum tables is gone, identity "
            "field serial is gone");
  MapBuilder many = base();
  for (int i = 0; i < 5; ++i)
    many.region("r" + std::to_string(i), "editable", 0x200 + 0x20 * static_cast<std::uint64_t>(i), 16);
  const RegionMap wide = many.parse();
  EXPECT_EQ(widening_text(diff_region_maps(base().parse(), wide), wide),
            "the shop's rules now allow 80 more bytes to change, r0, r1, r2 and 2 more among them");
}

}  // namespace
}  // namespace calseal
