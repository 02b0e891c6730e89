// What the state keeps: nothing that may still count is lost, and nothing grows without bound.
#include "calseal/check/remember.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/check/known.h"
#include "support/matchers.h"

namespace calseal {
namespace {

Sha256 digest(const std::string& text) { return compute_sha256(view_of(text)); }

OpenedBundle opened(std::uint64_t base, std::uint64_t revision, std::uint64_t sequence, const char* name,
                    std::vector<KeyId> keys = {digest("author")}) {
  OpenedBundle bundle;
  bundle.manifest.job = "job-7";
  bundle.manifest.base_number = base;
  bundle.manifest.revision = revision;
  bundle.manifest.sequence = sequence;
  bundle.manifest.required_roles = {"author"};
  bundle.manifest.controllers.emplace_back();
  bundle.manifest.controllers.front().name = "engine";
  bundle.digest = digest(name);
  bundle.vouching.keys = std::move(keys);
  std::ranges::sort(bundle.vouching.keys);
  bundle.vouching.by_ledger = bundle.vouching.keys.empty();
  return bundle;
}

class Remember : public ::testing::Test {
 protected:
  Remember() {
    for (const char* name : {"author", "second", "thief", "desk", "other desk"}) {
      TrustedKey key;
      key.id = digest(name);
      key.roles = {Role::kAuthor, Role::kWithdrawal};
      trust_.keys.push_back(key);
    }
  }
  bool note(const OpenedBundle& bundle) { return learn_revision(root_, bundle); }
  const JobState& job() const { return *root_.find("job-7", "engine"); }
  std::vector<std::uint64_t> sequences() const {
    std::vector<std::uint64_t> numbers;
    for (const KeptRevision& kept : job().revisions) numbers.push_back(kept.sequence);
    return numbers;
  }
  void call_stolen(const char* name) {
    std::ranges::find(trust_.keys, digest(name), &TrustedKey::id)->compromised = true;
  }
  void learn(std::uint64_t number, const char* key, std::vector<std::string> names) {
    WithdrawalList list;
    list.root = root_.root;
    list.number = number;
    list.keys = {digest(key)};
    for (const std::string& name : names) {
      list.notices.emplace_back();
      list.notices.back().revision = digest(name);
    }
    std::ranges::sort(list.notices, {}, &WithdrawalNotice::revision);
    learn_list(root_, list, trust_);
  }
  // The names that are in force, of the few that these tests use.
  std::string in_force() const {
    CheckerState state;
    state.roots = {root_};
    state.roots.front().root = compute_key_id(trust_.root);
    const std::vector<Sha256> withdrawn = withdrawn_in_force(state, trust_);
    std::string names;
    for (const char* name : {"a", "b", "c", "d"}) {
      if (std::ranges::binary_search(withdrawn, digest(name))) names += name;
    }
    return names;
  }

  RootState root_;
  TrustFile trust_;
};

TEST_F(Remember, AnOlderRevisionLowersNothing) {
  note(opened(1, 0, 5, "zero again"));
  note(opened(1, 3, 6, "three"));
  note(opened(1, 0, 1, "zero"));
  note(opened(1, 1, 2, "one"));
  EXPECT_EQ(sequences(), (std::vector<std::uint64_t>{6}));
  EXPECT_EQ(job().revisions.front().revision, digest("three"));
  EXPECT_EQ(job().ways_back.size(), 2U);
}

TEST_F(Remember, ARevisionOfOtherKeysIsKeptBesideTheNewest) {
  note(opened(1, 1, 2, "one"));
  note(opened(1, 2, kSequenceLimit, "far ahead", {digest("thief")}));
  note(opened(1, 3, 3, "three"));
  EXPECT_EQ(sequences(), (std::vector<std::uint64_t>{3, kSequenceLimit}));
  note(opened(1, 4, 4, "four", {digest("author"), digest("second")}));
  EXPECT_EQ(sequences(), (std::vector<std::uint64_t>{3, 4, kSequenceLimit}))
      << "a second key may be called stolen later, and a threshold may rise";
  note(opened(1, 5, 5, "five"));
  EXPECT_EQ(sequences(), (std::vector<std::uint64_t>{4, 5, kSequenceLimit})) << "the same keys cover";
}

TEST_F(Remember, TheLedgersProofOutlivesEveryKey) {
  note(opened(1, 1, 2, "one"));
  note(opened(1, 2, 3, "two", {}));
  EXPECT_EQ(sequences(), (std::vector<std::uint64_t>{3}));
  note(opened(1, 3, 4, "three"));
  EXPECT_EQ(sequences(), (std::vector<std::uint64_t>{3, 4}));
  call_stolen("author");
  EXPECT_TRUE(counts(job().revisions[0], trust_));
  EXPECT_FALSE(counts(job().revisions[1], trust_));
}

TEST_F(Remember, TheLowestRevisionGivesWay) {
  for (std::size_t i = 1; i <= kKeptRevisionLimit + 1; ++i)
    note(opened(1, i, i + 1, "one of many", {digest("key " + std::to_string(i))}));
  EXPECT_EQ(job().revisions.size(), kKeptRevisionLimit);
  EXPECT_EQ(job().revisions.front().sequence, 3U);
}

TEST_F(Remember, TheFirstWaysBackStay) {
  for (std::size_t i = 1; i <= kWayBackLimit; ++i)
    EXPECT_TRUE(note(opened(i, 0, i, ("zero " + std::to_string(i)).c_str())));
  EXPECT_FALSE(note(opened(99, 0, 99, "one more")));
  EXPECT_TRUE(note(opened(1, 0, 1, "zero 1"))) << "known already";
  EXPECT_TRUE(note(opened(1, 0, 1, "zero 1", {}))) << "proved by the ledger, in place of the same";
  EXPECT_EQ(job().ways_back.size(), kWayBackLimit);
}

TEST_F(Remember, ARevisionCountsWithoutTheStolenKeyWhereTheOthersAreEnough) {
  AcceptedRevision both{1, 2, digest("two"), digest("map"), false, {digest("author"), digest("thief")}};
  std::ranges::sort(both.keys);
  EXPECT_TRUE(counts(both, trust_));
  call_stolen("thief");
  EXPECT_TRUE(counts(both, trust_));
  trust_.threshold = 2;
  EXPECT_FALSE(counts(both, trust_)) << "one key is not two";
  trust_.threshold = 1;
  both.reviewed = true;
  EXPECT_FALSE(counts(both, trust_)) << "nobody reviewed it";
  std::ranges::find(trust_.keys, digest("author"), &TrustedKey::id)->roles = {Role::kWithdrawal};
  both.reviewed = false;
  EXPECT_FALSE(counts(both, trust_)) << "no author";
  const AcceptedRevision alone{1, 2, digest("two"), digest("map"), false, {digest("author")}};
  trust_.threshold = 2;
  EXPECT_TRUE(counts(alone, trust_)) << "no stolen key, no fall";
}

TEST_F(Remember, AKeyThatIsNotListedIsNotStolen) {
  AcceptedRevision both{
      1, 2, digest("two"), digest("map"), true, {digest("gone"), digest("gone too"), digest("thief")}};
  std::ranges::sort(both.keys);
  call_stolen("thief");
  EXPECT_TRUE(counts(both, trust_));
}

TEST_F(Remember, ANewerListReplaces) {
  learn(3, "desk", {"a"});
  EXPECT_EQ(in_force(), "a");
  learn(2, "desk", {"b"});
  EXPECT_EQ(in_force(), "a") << "older";
  learn(4, "desk", {"c"});
  EXPECT_EQ(in_force(), "c");
  EXPECT_EQ(root_.withdrawals.size(), 1U);
}

TEST_F(Remember, AStolenKeysListTakesNothingAway) {
  learn(3, "desk", {"a", "b"});
  learn(kJsonIntegerLimit, "thief", {"c"});
  EXPECT_EQ(in_force(), "c");
  call_stolen("thief");
  EXPECT_EQ(in_force(), "abc");
  EXPECT_EQ(last_counting_list(root_, trust_)->number, 3U) << "its number counts for nothing";
  learn(4, "desk", {"d"});
  EXPECT_EQ(in_force(), "d");
}

TEST_F(Remember, WhatAStolenKeyDroppedItselfComesBack) {
  learn(1, "desk", {"a"});
  learn(2, "thief", {"b"});
  learn(3, "thief", {"c"});
  EXPECT_EQ(root_.withdrawals.size(), 2U);
  EXPECT_EQ(in_force(), "c");
  call_stolen("thief");
  EXPECT_EQ(in_force(), "abc");
  call_stolen("desk");
  EXPECT_EQ(in_force(), "abc");
}

TEST_F(Remember, WhatAnHonestListDroppedStaysDropped) {
  learn(1, "thief", {"a"});
  learn(2, "desk", {"b"});
  learn(3, "thief", {"c"});
  call_stolen("thief");
  EXPECT_EQ(in_force(), "bc");
  call_stolen("desk");
  EXPECT_EQ(in_force(), "abc") << "nobody is left whose word took it away";
}

TEST_F(Remember, TheOldestListGivesWayAndItsNoticesStay) {
  for (std::size_t i = 1; i <= kStateListLimit + 1; ++i)
    learn(i, ("desk " + std::to_string(i)).c_str(), {i == 1 ? "a" : "b"});
  EXPECT_EQ(root_.withdrawals.size(), kStateListLimit);
  EXPECT_EQ(root_.withdrawals.front().dropped, std::vector<Sha256>{digest("a")});
}

TEST(RememberTime, NeverRunsBackwardsWithoutTheWord) {
  CheckerState state;
  learn_time(state, *parse_time("2027-01-01T00:00:00Z"), "2026-12-01T00:00:00Z", false);
  EXPECT_EQ(state.last_time, "2027-01-01T00:00:00Z");
  learn_time(state, *parse_time("2026-12-31T23:59:59Z"), "2026-12-01T00:00:00Z", false);
  EXPECT_EQ(state.last_time, "2027-01-01T00:00:00Z");
  learn_time(state, *parse_time("2026-12-31T23:59:59Z"), "2026-12-01T00:00:00Z", true);
  EXPECT_EQ(state.last_time, "2026-12-31T23:59:59Z");
}

TEST(RememberTime, IsBoundBySignedTimes) {
  CheckerState state;
  learn_time(state, *parse_time("2099-01-01T00:00:00Z"), "2026-01-01T00:00:00Z", false);
  EXPECT_EQ(state.last_time, "2027-02-05T00:00:00Z") << "400 days";
  state.last_time.clear();
  learn_time(state, *parse_time("9999-12-31T23:59:59Z"), "9999-12-31T23:59:59Z", false);
  EXPECT_EQ(state.last_time, "9999-12-31T23:59:59Z");
}

RegionMap map_of(const std::string& text) {
  RegionMap map;
  map.text.assign(text.begin(), text.end());
  map.digest = compute_sha256(map.text);
  return map;
}

OpenedBundle opened_with(const RegionMap& map, std::uint64_t revision, std::uint64_t sequence,
                         const char* name) {
  OpenedBundle bundle = opened(1, revision, sequence, name);
  bundle.map = map;
  bundle.manifest.controllers.front().map_digest = map.digest;
  return bundle;
}

TEST_F(Remember, ARegionMapIsKeptOnceAndAsLongAsARevisionHasIt) {
  CheckerState state;
  const RegionMap one = map_of("one"), other = map_of("other"), third = map_of("third");
  const auto learn_with = [&](const RegionMap& map, std::uint64_t revision, std::uint64_t sequence,
                              const char* name) {
    learn_revision(state.entry(digest("root")), opened_with(map, revision, sequence, name));
    return keep_map(state, map);
  };
  EXPECT_TRUE(keep_map(state, one));
  EXPECT_TRUE(state.maps.empty()) << "no revision has it";
  EXPECT_TRUE(learn_with(one, 1, 2, "one"));
  EXPECT_TRUE(learn_with(one, 2, 3, "two"));
  EXPECT_EQ(state.maps, (std::vector<Bytes>{one.text}));
  EXPECT_TRUE(learn_with(other, 3, 4, "three"));
  EXPECT_EQ(state.maps, (std::vector<Bytes>{other.text})) << "the one before is covered";
  EXPECT_TRUE(learn_with(third, 0, 5, "zero"));
  EXPECT_TRUE(learn_with(one, 4, 6, "four"));
  EXPECT_EQ(state.maps.size(), 2U) << "that of the way back stays";
  EXPECT_NE(state.find_map(third.digest), nullptr);
  EXPECT_EQ(state.find_map(other.digest), nullptr);
}

TEST_F(Remember, WhereThereIsNoRoomTheDigestAloneIsKept) {
  CheckerState state;
  RootState& root = state.entry(digest("root"));
  for (std::size_t i = 0; i < kStateMapLimit; ++i) {
    const RegionMap map = map_of("map " + std::to_string(i));
    OpenedBundle bundle = opened_with(map, 1, 2, "one");
    bundle.manifest.job = "other-" + std::to_string(i);
    learn_revision(root, bundle);
    EXPECT_TRUE(keep_map(state, map));
  }
  const RegionMap last = map_of("last");
  learn_revision(root, opened_with(last, 1, 2, "one"));
  EXPECT_FALSE(keep_map(state, last));
  EXPECT_EQ(state.maps.size(), kStateMapLimit);
  EXPECT_EQ(state.find_map(last.digest), nullptr);
  EXPECT_EQ(root.find("job-7", "engine")->revisions.front().map, last.digest);
  EXPECT_TRUE(parse_state(view_of(write_state(state)), "s"));
}

TEST_F(Remember, RegionMapsOfMoreBytesThanThereIsRoomFor) {
  CheckerState state;
  const RegionMap large = map_of(std::string(kRegionMapSizeLimit, 'x'));
  const RegionMap rest = map_of(std::string(kStateMapBytesLimit - kRegionMapSizeLimit, 'y')),
                  one_more = map_of("z");
  for (const RegionMap* map : {&large, &rest, &one_more}) {
    OpenedBundle bundle = opened_with(*map, 1, 2, "one");
    bundle.manifest.job = std::string(1, static_cast<char>(map->text.front()));
    learn_revision(state.entry(digest("root")), bundle);
    EXPECT_EQ(keep_map(state, *map), map != &one_more);
  }
}

TEST_F(Remember, TheKnownMapIsThatOfTheNewestThatCounts) {
  const auto note_with = [&](const char* map, std::uint64_t revision, std::uint64_t sequence,
                             const char* name, const char* key) {
    OpenedBundle bundle = opened_with(map_of(map), revision, sequence, name);
    bundle.vouching.keys = {digest(key)};
    note(bundle);
  };
  const auto known = [&] { return known_map({&job()}, trust_); };
  root_.entry("job-7", "engine");
  EXPECT_EQ(known(), std::nullopt);
  note_with("first", 0, 1, "zero", "author");
  note_with("second", 1, 2, "one", "second");
  note_with("third", 2, 3, "two", "thief");
  EXPECT_EQ(known(), digest("third"));
  call_stolen("thief");
  EXPECT_EQ(known(), digest("second"));
  call_stolen("second");
  EXPECT_EQ(known(), digest("first"));
  call_stolen("author");
  EXPECT_EQ(known(), std::nullopt) << "a stolen key vouches for no rules";
}

// Where no kept revision counts, a way back may still.
TEST_F(Remember, TheKnownMapMayBeThatOfAWayBack) {
  const auto way_back = [&](const char* map, std::uint64_t sequence, const char* name, const char* key) {
    OpenedBundle bundle = opened_with(map_of(map), 0, sequence, name);
    bundle.vouching.keys = {digest(key)};
    note(bundle);
  };
  way_back("first", 1, "zero", "author");
  way_back("second", 2, "zero again", "author");
  way_back("third", 3, "zero by a thief", "thief");
  root_.entry("job-7", "engine").revisions.clear();
  EXPECT_EQ(known_map({&job()}, trust_), digest("third"));
  call_stolen("thief");
  EXPECT_EQ(known_map({&job()}, trust_), digest("second"));
  EXPECT_TRUE(accepted_way_back({&job()}, digest("zero by a thief"))) << "its keys do not matter";
  EXPECT_FALSE(accepted_way_back({&job()}, digest("another")));
}

}  // namespace
}  // namespace calseal
