// The checker's state as a file: written canonically, damaged by any change.
#include "calseal/check/state.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "support/matchers.h"

namespace calseal {
namespace {

Sha256 digest(const char* text) { return compute_sha256(view_of(text)); }

Bytes text_bytes(std::string_view text) { return {text.begin(), text.end()}; }

std::vector<Sha256> ascending(std::vector<Sha256> digests) {
  std::ranges::sort(digests);
  return digests;
}

CheckerState sample() {
  CheckerState state;
  state.last_time = "2026-03-04T05:06:07Z";
  state.maps = {text_bytes("map"), text_bytes("other map")};
  std::ranges::sort(state.maps, {}, [](const Bytes& map) { return compute_sha256(map); });
  for (const char* name : {"one", "two"}) {
    RootState& root = state.entry(digest(name));
    root.next = digest("next");
    root.trust_version = 3;
    root.trust = digest("trust");
    root.compromised = ascending({digest("k"), digest("l")});
    root.withdrawals = {
        {2, digest("list"), {digest("desk")}, ascending({digest("a"), digest("b")}), {digest("c")}},
        {1, digest("other"), {digest("thief")}, {}, ascending({digest("a"), digest("b")})}};
    for (const char* controller : {"transmission", "engine"}) {
      JobState& job = root.entry("job-7", controller);
      job.ways_back = {{2, 4, digest("zero"), digest("map"), false, {digest("author")}},
                       {2, 5, digest("read again"), digest("map"), true, {}}};
      std::ranges::sort(job.ways_back, {}, &AcceptedRevision::revision);
      job.revisions = {{{2, 9, digest("nine"), digest("map"), false, {digest("author")}},
                        digest("set"),
                        {digest("eight")}},
                       {{3, 10, digest("ten"), digest("other map"), true, {digest("thief")}}, {}, {}}};
    }
  }
  return state;
}

Bytes written(const CheckerState& state) {
  const std::string text = write_state(state);
  return {text.begin(), text.end()};
}

TEST(State, ReadsWhatItWrote) {
  for (const CheckerState& state : {CheckerState(), sample()}) {
    const auto read = parse_state(written(state), "job.state");
    ASSERT_TRUE(read) << read.error().place << " " << read.error().found;
    EXPECT_EQ(*read, state);
  }
}

TEST(State, EntriesStandInOrder) {
  const CheckerState state = sample();
  EXPECT_TRUE(std::ranges::is_sorted(state.roots, {}, &RootState::root));
  EXPECT_EQ(state.roots[0].jobs[0].controller, "engine");
  EXPECT_EQ(state.roots[0].find("job-7", "transmission"), &state.roots[0].jobs[1]);
  EXPECT_EQ(state.roots[0].find("job-8", "transmission"), nullptr);
  EXPECT_EQ(state.find(digest("three")), nullptr);
}

TEST(State, EveryFlippedBitIsSeen) {
  const Bytes good = written(sample());
  for (std::size_t at = 0; at < good.size(); ++at) {
    for (unsigned bit = 0; bit < 8; ++bit) {
      Bytes bent = good;
      bent[at] = static_cast<std::uint8_t>(bent[at] ^ (1U << bit));
      const auto read = parse_state(bent, "job.state");
      ASSERT_FALSE(read) << "byte " << at << " bit " << bit;
      ASSERT_EQ(read.error().reason, Reason::kStateDamaged);
    }
  }
}

TEST(State, EveryTruncationAndAnAppendedByteIsSeen) {
  Bytes good = written(sample());
  for (std::size_t size = 0; size < good.size(); ++size) {
    const auto read = parse_state(ByteView(good).first(size), "job.state");
    ASSERT_FALSE(read) << size;
    ASSERT_EQ(read.error().reason, Reason::kStateDamaged);
  }
  good.push_back('\n');
  EXPECT_FALSE(parse_state(good, "job.state"));
}

// With a right second line only the fields can be wrong.
Bytes with_sum(const std::string& line) {
  const std::string text = line + "\n" + digest_text(compute_sha256(view_of(line))) + "\n";
  return {text.begin(), text.end()};
}

TEST(State, ContradictionsAreSeen) {
  const auto refused = [](auto change) {
    CheckerState state = sample();
    change(state);
    const auto read = parse_state(written(state), "job.state");
    return !read && read.error().reason == Reason::kStateDamaged;
  };
  EXPECT_TRUE(refused([](CheckerState& s) { std::swap(s.roots[0], s.roots[1]); }));
  EXPECT_TRUE(refused([](CheckerState& s) { s.roots[0].root = s.roots[1].root; }));
  EXPECT_TRUE(refused([](CheckerState& s) { std::swap(s.roots[0].jobs[0], s.roots[0].jobs[1]); }));
  EXPECT_TRUE(refused([](CheckerState& s) { s.roots[0].next = s.roots[0].root; }));
  EXPECT_TRUE(refused([](CheckerState& s) { std::ranges::reverse(s.roots[0].compromised); }));
  EXPECT_TRUE(refused([](CheckerState& s) { s.roots[0].trust_version = 0; }));
  EXPECT_FALSE(refused([](CheckerState&) {}));
}

TEST(State, ContradictionsInAListOfWithdrawalsAreSeen) {
  const auto refused = [](auto change) {
    CheckerState state = sample();
    change(state.roots[0].withdrawals);
    return !parse_state(written(state), "job.state").has_value();
  };
  using Lists = std::vector<RememberedList>;
  EXPECT_TRUE(refused([](Lists& l) { std::ranges::reverse(l[0].notices); }));
  EXPECT_TRUE(refused([](Lists& l) { std::ranges::reverse(l[1].dropped); }));
  EXPECT_TRUE(refused([](Lists& l) { l[0].dropped = {l[0].notices[0]}; })) << "named and dropped";
  EXPECT_TRUE(refused([](Lists& l) { l[0].keys.clear(); })) << "signed by nobody";
  EXPECT_TRUE(refused([](Lists& l) { l[1].keys = l[0].keys; })) << "two lists of one set of keys";
  EXPECT_TRUE(refused([](Lists& l) { l[0].number = 0; }));
  EXPECT_FALSE(refused([](Lists& l) { std::ranges::reverse(l); })) << "the order is that of learning";
}

TEST(State, ContradictionsInAJobAreSeen) {
  const auto refused = [](auto change) {
    CheckerState state = sample();
    change(state.roots[0].jobs[0]);
    return !parse_state(written(state), "job.state").has_value();
  };
  EXPECT_TRUE(refused([](JobState& j) { std::ranges::reverse(j.revisions); }));
  EXPECT_TRUE(refused([](JobState& j) { std::ranges::reverse(j.ways_back); }));
  EXPECT_TRUE(refused([](JobState& j) {
    j.revisions[1].keys = j.revisions[0].keys, j.revisions[1].reviewed = false;
  })) << "one covers the other";
  EXPECT_TRUE(refused([](JobState& j) { j.revisions[0].returns.push_back(digest("eight")); }));
  EXPECT_TRUE(refused([](JobState& j) { j.revisions[0].keys.push_back(digest("author")); }));
  EXPECT_TRUE(refused([](JobState& j) { j.revisions.clear(), j.ways_back.clear(); }));
  EXPECT_FALSE(refused([](JobState& j) { j.ways_back.clear(); }));
}

TEST(State, CoversWhatItMakesSuperfluous) {
  const AcceptedRevision a{2, 9, digest("a"), digest("map"), false, {digest("k")}};
  const auto with = [&](auto change) {
    AcceptedRevision b = a;
    change(b);
    return std::pair(covers(a, b), covers(b, a));
  };
  const std::pair both(true, true), first(true, false), second(false, true), none(false, false);
  EXPECT_EQ(with([](AcceptedRevision&) {}), both);
  EXPECT_EQ(with([](AcceptedRevision& b) { b.sequence = 8; }), first);
  EXPECT_EQ(with([](AcceptedRevision& b) { b.base = 1; }), first);
  EXPECT_EQ(with([](AcceptedRevision& b) { b.base = 3, b.sequence = 8; }), none);
  EXPECT_EQ(with([](AcceptedRevision& b) { b.reviewed = true; }), first) << "b falls sooner";
  EXPECT_EQ(with([](AcceptedRevision& b) {
              b.keys = ascending({digest("k"), digest("l")});
            }),
            none)
      << "the other key may be called stolen";
  EXPECT_EQ(with([](AcceptedRevision& b) { b.keys = {digest("l")}; }), none);
  EXPECT_EQ(with([](AcceptedRevision& b) { b.keys.clear(); }), second) << "proved by the ledger";
}

TEST(State, ContradictionsAmongRegionMapsAreSeen) {
  const auto refused = [](auto change) {
    CheckerState state = sample();
    change(state.maps);
    return !parse_state(written(state), "job.state").has_value();
  };
  using Maps = std::vector<Bytes>;
  EXPECT_TRUE(refused([](Maps& m) { std::ranges::reverse(m); }));
  EXPECT_TRUE(refused([](Maps& m) { m.insert(m.begin(), m.front()); })) << "twice";
  EXPECT_TRUE(refused([](Maps& m) { m.front().push_back(' '); })) << "no revision has this one";
  EXPECT_FALSE(refused([](Maps& m) { m.clear(); })) << "the digests alone are kept";
}

// Texts of region maps, each the map of a way back: `sizes` of them.
CheckerState with_maps(const std::vector<std::size_t>& sizes) {
  CheckerState state;
  RootState& root = state.entry(digest("root"));
  root.trust = digest("trust");
  for (std::size_t i = 0; i < sizes.size(); ++i) {
    state.maps.push_back(Bytes(sizes[i], static_cast<std::uint8_t>('0' + i)));
    JobState& job = root.entry("job-" + std::to_string(i), "engine");
    job.ways_back = {{1, 1, digest("zero"), compute_sha256(state.maps.back()), false, {digest("author")}}};
  }
  std::ranges::sort(state.maps, {}, [](const Bytes& map) { return compute_sha256(map); });
  return state;
}

TEST(State, RegionMapsAreBounded) {
  const auto reads = [](const std::vector<std::size_t>& sizes) {
    return parse_state(written(with_maps(sizes)), "job.state").has_value();
  };
  constexpr std::size_t kMiB = std::size_t{1} << 20;
  EXPECT_TRUE(reads({kMiB, kMiB}));
  EXPECT_FALSE(reads({kMiB, kMiB, 1}));
  EXPECT_FALSE(reads({kMiB + 1}));
  EXPECT_TRUE(reads(std::vector<std::size_t>(kStateMapLimit, 10)));
  EXPECT_FALSE(reads(std::vector<std::size_t>(kStateMapLimit + 1, 10)));
}

// Each is told before anything is made of the next.
TEST(State, WhatIsWrongIsSaidWhereItStands) {
  EXPECT_THAT(parse_state(Bytes(kStateSizeLimit + 1, ' '), "s"), FailsWith(Reason::kStateDamaged, ""));
  EXPECT_THAT(parse_state(with_sum(R"({"calseal":"trust/1"})"), "s"),
              FailsWith(Reason::kStateDamaged, "line 1"));
  EXPECT_THAT(parse_state(view_of(R"({"calseal":"state/1","last_time":"","maps":[],"roots":[]})"), "s"),
              FailsWith(Reason::kStateDamaged, "line 1"));
  EXPECT_THAT(parse_state(with_sum(R"({"calseal":"state/1",)"), "s"),
              FailsWith(Reason::kStateDamaged, "line 1, column 22"));
}

TEST(State, OtherTextsAreSeen) {
  const std::string good = R"({"calseal":"state/1","last_time":"","maps":[],"roots":[]})";
  EXPECT_TRUE(parse_state(with_sum(good), "s"));
  for (const char* line :
       {R"({"calseal":"state/1","last_time":"", "maps":[],"roots":[]})",
        R"({"calseal":"state/1","maps":[],"roots":[],"last_time":""})",
        R"({"calseal":"state/1","last_time":"yesterday","maps":[],"roots":[]})",
        R"({"calseal":"state/1","last_time":"","maps":[]})",
        R"({"calseal":"state/1","last_time":"","roots":[]})",
        R"({"calseal":"state/1","last_time":"","roots":[],"maps":[]})",
        R"({"calseal":"state/1","last_time":"","maps":["no revision has it"],"roots":[]})",
        R"({"calseal":"state/1","last_time":"","maps":[],"roots":[],"more":1})", R"({"calseal":"state/1",)",
        R"({"calseal":"trust/1","last_time":"","maps":[],"roots":[]})"}) {
    const auto read = parse_state(with_sum(line), "s");
    ASSERT_FALSE(read) << line;
    EXPECT_EQ(read.error().reason, Reason::kStateDamaged) << line;
  }
}

}  // namespace
}  // namespace calseal
