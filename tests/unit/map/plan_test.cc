// Order, circles, floating places, spans, areas and write ranges.
#include "calseal/map/plan.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

MapBuilder flash(std::uint64_t size = 0x400) {
  MapBuilder builder;
  builder.memory("flash", 0, size);
  return builder;
}

Result<Plan> plan_of(const RegionMap& map) { return make_plan(map, filled_image(map)); }

std::vector<std::string> order_of(const Plan& plan) {
  std::vector<std::string> names;
  for (const PlanGroup& group : plan.order) {
    std::string name;
    for (const std::size_t node : group.nodes) name += (name.empty() ? "" : "+") + plan.nodes[node].name;
    names.push_back(group.joint ? "[" + name + "]" : name);
  }
  return names;
}

bool floats(const Plan& plan, std::string_view name) {
  for (const PlanNode& node : plan.nodes) {
    if (node.name == name) return node.floating;
  }
  throw std::runtime_error("no node " + std::string(name));
}

// --- order

TEST(PlanOrder, PutsEveryNodeAfterWhatItReads) {
  const RegionMap map = flash()
                            .checksum("outer", kCrc32, {range_at(0x100, 0x40)}, {slot_at(0x200, 4)})
                            .checksum("inner", kCrc16, {range_at(0x00, 0x20)}, {slot_at(0x80, 2)})
                            .copy("mirror", 0x110, 0x80, 2)
                            .parse();
  const Plan plan = plan_of(map).value();
  EXPECT_EQ(order_of(plan), (std::vector<std::string>{"inner", "mirror", "outer"}));
}

TEST(PlanOrder, OneByteOfASlotIsEnough) {
  const RegionMap map = flash()
                            .checksum("a", kCrc32, {range_at(0x103, 0x10)}, {slot_at(0x200, 4)})
                            .checksum("b", kCrc32, {range_at(0x00, 0x20)}, {slot_at(0x100, 4)})
                            .checksum("c", kCrc32, {range_at(0x1f0, 0x10)}, {slot_at(0x1e0, 4)})
                            .parse();
  EXPECT_EQ(order_of(plan_of(map).value()), (std::vector<std::string>{"b", "a", "c"}));
}

TEST(PlanOrder, AMemoryOfTheSameAddressesIsAnother) {
  const RegionMap map = flash()
                            .memory("eeprom", 0, 0x400)
                            .checksum("a", kCrc32, {range_at(0x100, 0x10, "", "eeprom")}, {slot_at(0x200, 4)})
                            .checksum("b", kCrc32, {range_at(0x200, 0x10, "", "eeprom")}, {slot_at(0x100, 4)})
                            .parse();
  EXPECT_EQ(order_of(plan_of(map).value()), (std::vector<std::string>{"a", "b"}));
}

TEST(PlanOrder, SubstitutedSlotsAreNotRead) {
  const RegionMap map = flash()
                            .checksum("self", kCrc32, {range_at(0, 0x40)}, {slot_at(0x20, 4)},
                                      R"("substitute": [)" + range_at(0x20, 4, R"("as": "ff")") + "]")
                            .checksum("partly", kCrc32, {range_at(0x40, 0x38)}, {slot_at(0x60, 4)},
                                      R"("substitute": [)" + range_at(0x60, 3, R"("as": "ff")") + "]")
                            .parse();
  EXPECT_EQ(order_of(plan_of(map).value()), (std::vector<std::string>{"self", "[partly]"}));
}

TEST(PlanOrder, SwappedPartnersDecideWhatIsRead) {
  // Named 0x20, read 0x21: the slot's last byte.
  const RegionMap map = flash()
                            .checksum("a", kCrc32, {range_at(0x20, 1)}, {slot_at(0x40, 4)}, R"("swap": 16)")
                            .checksum("b", kCrc16, {range_at(0x80, 8)}, {slot_at(0x21, 2)})
                            .parse();
  EXPECT_EQ(order_of(plan_of(map).value()), (std::vector<std::string>{"b", "a"}));
}

TEST(PlanOrder, ARuleDoesNotWaitForItsOwnBalance) {
  const RegionMap map = flash()
                            .checksum("rule", kCrc32, {range_at(0, 0x40)}, {},
                                      R"("rule": {"equals": "residue", "balance": )" + slot_at(0x3c, 4) + "}")
                            .parse();
  EXPECT_EQ(order_of(plan_of(map).value()), std::vector<std::string>{"rule"});
}

// --- circles

TEST(Circles, OfCrcsAreSolvedJointly) {
  const RegionMap map = flash()
                            .checksum("a", kCrc32, {range_at(0, 0x40)}, {slot_at(0x100, 4)})
                            .checksum("b", kCrc32, {range_at(0xf0, 0x40)}, {slot_at(0x20, 4)})
                            .checksum("after", kCrc32, {range_at(0x20, 4)}, {slot_at(0x200, 4)})
                            .parse();
  EXPECT_EQ(order_of(plan_of(map).value()), (std::vector<std::string>{"[a+b]", "after"}));
}

TEST(Circles, ThatCannotBeSolvedNameEveryMember) {
  const std::string sum = R"({"sum": {"unit": 8, "accumulator": 16}})";
  const RegionMap map = flash()
                            .checksum("first", sum, {range_at(0x00, 0x10)}, {slot_at(0x20, 2)})
                            .checksum("apart", sum, {range_at(0x60, 0x10)}, {slot_at(0x70, 2)})
                            .checksum("second", kCrc32, {range_at(0x20, 0x10)}, {slot_at(0x40, 4)})
                            .copy("third", 0x08, 0x40, 4)
                            .parse();
  const auto plan = plan_of(map);
  ASSERT_THAT(plan, FailsWith(Reason::kChecksumCycle));
  for (const char* name : {"first", "second", "third"})
    EXPECT_NE(plan.error().place.find(name), std::string::npos) << name;
  EXPECT_EQ(plan.error().place.find("apart"), std::string::npos);
}

TEST(Circles, OfOneMemberAreNamedToo) {
  for (const char* algorithm :
       {R"({"sum": {"unit": 8, "accumulator": 32}})", R"({"adler": 32})", R"({"fletcher": 32})",
        R"({"sha": 256})", R"({"sum": {"unit": 32, "operation": "add-end-around"}})"}) {
    const RegionMap map =
        flash().checksum("alone", algorithm, {range_at(0, 0x40)}, {slot_at(0x20, 4)}).parse();
    EXPECT_THAT(plan_of(map), FailsWith(Reason::kChecksumCycle, "alone")) << algorithm;
  }
}

TEST(Circles, WithWhatIsNotAffineAreRefused) {
  const std::pair<const char*, const char*> rows[] = {
      {"", R"("add": 1)"}, {"", R"("complement": "twos")"}, {R"("transform": "negate")", ""}};
  for (const auto& [slot, more] : rows) {
    const RegionMap map =
        flash().checksum("c", kCrc32, {range_at(0, 0x40)}, {slot_at(0x20, 4, slot)}, more).parse();
    EXPECT_THAT(plan_of(map), FailsWith(Reason::kChecksumCycle, "c")) << slot << more;
  }
  const RegionMap digits =
      flash()
          .checksum("c", kCrc32, {range_at(0, 0x40)}, {slot_at(0x20, 8, R"("encoding": "hex-lower")")})
          .parse();
  EXPECT_THAT(plan_of(digits), FailsWith(Reason::kChecksumCycle, "c"));
  const RegionMap offset = flash()
                               .checksum("c", kCrc32, {range_at(0, 0x40)}, {slot_at(0x80, 4)})
                               .copy("d", 0x20, 0x80, 4, R"("transform": "offset", "offset": 1)")
                               .parse();
  EXPECT_THAT(plan_of(offset), FailsWith(Reason::kChecksumCycle, "c -> d"));
}

TEST(Circles, OfCopiesAloneAreRefused) {
  for (const char* transform : {R"("transform": "plain")", R"("transform": "complement")"}) {
    const RegionMap map = flash().copy("a", 0x00, 0x20, 4).copy("b", 0x20, 0x00, 4, transform).parse();
    EXPECT_THAT(plan_of(map), FailsWith(Reason::kChecksumCycle, "a -> b")) << transform;
  }
  const RegionMap with_crc = flash()
                                 .copy("a", 0x00, 0x20, 4)
                                 .copy("b", 0x20, 0x00, 8)
                                 .checksum("c", kCrc32, {range_at(0, 0x40)}, {slot_at(0x04, 4)})
                                 .parse();
  EXPECT_THAT(plan_of(with_crc), FailsWith(Reason::kChecksumCycle));
}

TEST(Circles, WithoutAValueThatFitsAreRefused) {
  // An exclusive or that covers its own slot: the slot cancels, so it can hold everything or nothing.
  const RegionMap map = flash()
                            .checksum("x", R"({"sum": {"unit": 8, "operation": "xor"}})", {range_at(0, 0x10)},
                                      {slot_at(0x08, 1)})
                            .parse();
  EXPECT_THAT(plan_of(map), FailsWith(Reason::kChecksumCycle, "x"));
}

TEST(Circles, OfMoreThanALimitAreRefused) {
  MapBuilder builder = flash(0x1000);
  builder.checksum("c", kCrc32, {range_at(0, 0x400)}, {slot_at(0, 4, R"("stride": 4)")}, R"("repeat": 33)");
  EXPECT_THAT(plan_of(builder.parse()), FailsWith(Reason::kChecksumCycle, "c[32]"));
}

TEST(Circles, OfAsMuchAsTheLimitAreSolved) {
  MapBuilder builder = flash(0x1000);
  builder.checksum("c", kCrc32, {range_at(0, 0x400, R"("stride": 8)")}, {slot_at(0x300, 4, R"("stride": 4)")},
                   R"("repeat": 32)");
  const RegionMap map = builder.parse();
  const auto plan = plan_of(map);
  ASSERT_THAT(plan, IsOk());
  EXPECT_EQ(plan->order.size(), 1U);
  EXPECT_TRUE(plan->order[0].joint);
}

TEST(Tables, ThatNameMoreThanAllChecksumsMayReadAreRefused) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x4000000);
  const RegionMap map =
      builder
          .checksum(
              "c", kCrc32,
              {R"({"table": {"memory": "flash", "at": "0x00000080", "records": 60, "record_size": 8, "order": "big",
                        "start_at": 0, "end_at": 4, "end": "length", "points_into": "flash"}})"},
              {slot_at(0x3fffff0, 4, R"("stride": 4)")}, R"("repeat": 2)")
          .parse();
  Image image = filled_image(map);
  for (std::uint64_t i = 0; i < 60; ++i) put_bytes(image, 0x80 + 8 * i, Bytes{0, 0, 0, 0, 3, 0, 0, 0});
  EXPECT_THAT(make_plan(map, image), FailsWith(Reason::kDescriptorInvalid, "c[1]"));
}

// --- floating

MapBuilder with_learned() {
  MapBuilder builder = flash();
  builder.region("learned", "volatile", 0x300, 0x40);
  return builder;
}

TEST(Floating, IsWhatVolatileBytesReachDirectlyOrThroughOthers) {
  const RegionMap map = with_learned()
                            .checksum("still", kCrc32, {range_at(0x2f0, 0x10)}, {slot_at(0x00, 4)})
                            .checksum("direct", kCrc32, {range_at(0x2f0, 0x11)}, {slot_at(0x10, 4)})
                            .checksum("through", kCrc32, {range_at(0x10, 1)}, {slot_at(0x20, 4)})
                            .checksum("further", kCrc32, {range_at(0xa0, 4)}, {slot_at(0x30, 4)})
                            .checksum("last", kCrc32, {range_at(0x33f, 2)}, {slot_at(0x40, 4)})
                            .checksum("past", kCrc32, {range_at(0x340, 2)}, {slot_at(0x48, 4)})
                            .copy("of_volatile", 0x50, 0x300, 4)
                            .copy("of_slot", 0xa0, 0x20, 4)
                            .copy("of_still", 0xb0, 0x00, 4)
                            .parse();
  const Plan plan = plan_of(map).value();
  for (const char* name : {"direct", "through", "further", "last", "of_volatile", "of_slot"})
    EXPECT_TRUE(floats(plan, name)) << name;
  for (const char* name : {"still", "past", "of_still"}) EXPECT_FALSE(floats(plan, name)) << name;
}

TEST(Floating, SubstitutedVolatileBytesReachNothing) {
  const RegionMap map = with_learned()
                            .checksum("c", kCrc32, {range_at(0x2f0, 0x20)}, {slot_at(0x00, 4)},
                                      R"("substitute": [)" + range_at(0x300, 0x10, R"("as": "00")") + "]")
                            .parse();
  EXPECT_FALSE(floats(plan_of(map).value(), "c"));
}

TEST(Floating, ASlotInAVolatileRegionIsNotVolatile) {
  const RegionMap map = with_learned()
                            .checksum("in_volatile", kCrc32, {range_at(0, 0x10)}, {slot_at(0x300, 4)})
                            .checksum("reader", kCrc32, {range_at(0x300, 4)}, {slot_at(0x20, 4)})
                            .parse();
  const Plan plan = plan_of(map).value();
  EXPECT_FALSE(floats(plan, "in_volatile"));
  EXPECT_FALSE(floats(plan, "reader"));
  EXPECT_TRUE(plan.bytes_of(0, SpanKind::kDerived).contains(Range{0x300, 0x304}));
}

TEST(Floating, OneMemberOfACircleMakesAllFloat) {
  const RegionMap map =
      with_learned()
          .checksum("a", kCrc32, {range_at(0, 0x40)}, {slot_at(0x100, 4)})
          .checksum("b", kCrc32, {range_at(0x100, 4), range_at(0x300, 1)}, {slot_at(0x20, 4)})
          .parse();
  const Plan plan = plan_of(map).value();
  EXPECT_TRUE(floats(plan, "a"));
  EXPECT_TRUE(floats(plan, "b"));
}

Result<Plan> floating_rule(std::string_view algorithm, std::uint64_t balance, std::string_view equals,
                           std::string_view more = "") {
  const RegionMap map =
      with_learned()
          .checksum("rule", algorithm, {range_at(0x300, 0x40), range_at(0, 0x40)}, {},
                    R"("rule": {"equals": )" + std::string(equals) + R"(, "balance": )" +
                        slot_at(0x10, balance) + "}" + (more.empty() ? "" : ", ") + std::string(more))
          .parse();
  Result<Plan> plan = plan_of(map);
  if (plan) plan->map = nullptr;  // the map ends here
  return plan;
}

TEST(Floating, BalancesNeedExactlyOneRightValue) {
  EXPECT_THAT(floating_rule(kCrc32, 4, R"("residue")"), IsOk());
  EXPECT_THAT(floating_rule(kCrc32, 5, R"("residue")"), FailsWith(Reason::kMapFloating, "rule"));
  EXPECT_THAT(floating_rule(kCrc16, 2, "5", R"("bits": 9)"), FailsWith(Reason::kMapFloating, "rule"));
  EXPECT_THAT(floating_rule(R"({"sum": {"unit": 16}})", 2, "7"), IsOk());
  EXPECT_THAT(floating_rule(R"({"sum": {"unit": 16, "operation": "xor"}})", 2, "7"), IsOk());
  EXPECT_THAT(floating_rule(R"({"sum": {"unit": 16, "operation": "add-end-around"}})", 2, "7"), IsOk());
  EXPECT_THAT(floating_rule(R"({"sum": {"unit": 16}})", 2, "7", R"("bits": 8)"),
              FailsWith(Reason::kMapFloating, "rule"));
}

TEST(Floating, AWiderAccumulatorDoesNotMakeABalanceAmbiguous) {
  EXPECT_THAT(floating_rule(R"({"sum": {"unit": 16, "accumulator": 32}})", 2, "7", R"("bits": 16)"), IsOk());
  EXPECT_THAT(floating_rule(R"({"sum": {"unit": 16, "accumulator": 32, "operation": "xor"}})", 2, "7",
                            R"("bits": 16)"),
              IsOk());
}

TEST(Floating, CirclesNeedExactlyOneRightValue) {
  // The rule's balance has a byte more than it needs, and a copy of it closes the circle.
  MapBuilder builder = with_learned();
  builder.copy("mirror", 0x20, 0x10, 5)
      .checksum("rule", kCrc32, {range_at(0x300, 0x40), range_at(0, 0x40)}, {},
                R"("rule": {"equals": "residue", "balance": )" + slot_at(0x10, 5) + "}");
  EXPECT_THAT(plan_of(builder.parse()), FailsWith(Reason::kMapFloating, "rule -> mirror"));
}

TEST(Floating, ThroughBindingFieldsButWithoutLearning) {
  const RegionMap map =
      MapBuilder()
          .memory("flash", 0, 0x400)
          .region("learned", "volatile", 0x100, 0x40)
          .checksum("vin", kCrc32, {range_at(0x10, 17)}, {slot_at(0x40, 4)})
          .checksum("behind", kCrc32, {range_at(0x40, 4)}, {slot_at(0x48, 4)})
          .checksum("both", kCrc32, {range_at(0x48, 4), range_at(0x100, 4)}, {slot_at(0x50, 4)})
          .checksum("neither", kCrc32, {range_at(0x200, 4)}, {slot_at(0x58, 4)})
          .copy("again", 0x60, 0x10, 17)
          .field("vin", "vin", 0x10, 17, "ascii", R"("binds": true)")
          .parse();
  const Image image = filled_image(map);
  const Plan plan = make_plan(map, image).value();
  const auto marks = [&](const char* name) {
    const auto node = std::ranges::find(plan.nodes, name, &PlanNode::name);
    return std::pair(node->floating, node->learns);
  };
  EXPECT_EQ(marks("vin"), std::pair(true, false));
  EXPECT_EQ(marks("behind"), std::pair(true, false));
  EXPECT_EQ(marks("both"), std::pair(true, true));
  EXPECT_EQ(marks("neither"), std::pair(false, false));
  EXPECT_EQ(marks("again"), std::pair(true, false));
  EXPECT_EQ(plan.learned_places()[0], RangeSet({0x50, 0x54}));
}

// --- spans, areas, write ranges

struct Layout {
  RegionMap map =
      MapBuilder()
          .memory("flash", 0, 0x400)
          .memory("eeprom", 0x1000, 0x100)
          .region("code", "locked", 0x010, 0x20)
          .region("cal", "editable", 0x100, 0x100)
          .region("learned", "volatile", 0x1000, 0x40, "eeprom")
          .region("slots", "derived", 0x208, 4)
          .patch("p", 0x040, "ffff", "0102")
          .checksum("pinned", kCrc32, {range_at(0x121, 0x5f)}, {slot_at(0x180, 4)})
          .checksum("behind", kCrc32, {range_at(0x180, 4)}, {slot_at(0x208, 4)})
          .checksum("floating", kCrc32, {range_at(0x1000, 0x20, "", "eeprom"), range_at(0x180, 8)},
                    {slot_at(0x220, 4)})
          .checksum("vehicle", kCrc32, {range_at(0x1000, 0x20, "", "eeprom")}, {slot_at(0x240, 4)})
          .copy("of_floating", 0x260, 0x220, 4)
          .field("vin", "vin", 0x110, 17, "ascii", R"("binds": true)")
          .parse();
  Image image = filled_image(map);
  Plan plan = make_plan(map, image).value();
};

// A byte's kind by the page's words alone.
SpanKind kind_of(const Layout& l, std::size_t memory, std::uint64_t at) {
  const auto in = [&](std::uint64_t begin, std::uint64_t size) { return begin <= at && at < begin + size; };
  if (memory == 1) return in(0x1000, 0x40) ? SpanKind::kVolatile : SpanKind::kLocked;
  if (in(0x110, 17)) return SpanKind::kBinding;
  if (in(0x220, 4) || in(0x240, 4) || in(0x260, 4)) return SpanKind::kFloating;
  if (in(0x180, 4) || in(0x208, 4)) return SpanKind::kDerived;
  if (in(0x100, 0x100)) return SpanKind::kEditable;
  (void)l;
  return SpanKind::kLocked;
}

TEST(Spans, TileEveryMemoryAndAreCutWhereDeclared) {
  Layout l;
  forget(l.image, 0x150, 0x10);
  forget(l.image, 0x3f8, 8);
  const std::vector<Span> spans = l.plan.spans(l.image);
  std::size_t at = 0;
  std::vector<std::uint64_t> begins;
  for (std::size_t m = 0; m < 2; ++m) {
    std::uint64_t next = l.map.memories[m].extent.begin;
    for (; at < spans.size() && spans[at].place.memory == m; ++at) {
      EXPECT_EQ(spans[at].place.range.begin, next);
      EXPECT_FALSE(spans[at].place.range.empty());
      for (std::uint64_t a = spans[at].place.range.begin; a < spans[at].place.range.end; ++a) {
        EXPECT_EQ(spans[at].kind, kind_of(l, m, a)) << address_text(a);
        EXPECT_EQ(spans[at].known, l.image.memories[m].known.contains(a)) << address_text(a);
      }
      next = spans[at].place.range.end;
      begins.push_back(spans[at].place.range.begin);
    }
    EXPECT_EQ(next, l.map.memories[m].extent.end);
  }
  EXPECT_EQ(at, spans.size());
  EXPECT_EQ(begins, (std::vector<std::uint64_t>{0x000, 0x010, 0x030, 0x100, 0x110,  0x121, 0x150, 0x160,
                                                0x180, 0x184, 0x200, 0x208, 0x20c,  0x220, 0x224, 0x240,
                                                0x244, 0x260, 0x264, 0x3f8, 0x1000, 0x1040}));
}

TEST(Spans, BytesOfEveryKindTileEveryMemory) {
  const Layout l;
  for (std::size_t m = 0; m < 2; ++m) {
    for (std::uint64_t a = l.map.memories[m].extent.begin; a < l.map.memories[m].extent.end; ++a) {
      for (const SpanKind kind : {SpanKind::kLocked, SpanKind::kEditable, SpanKind::kDerived,
                                  SpanKind::kFloating, SpanKind::kVolatile, SpanKind::kBinding}) {
        ASSERT_EQ(l.plan.bytes_of(m, kind).contains(a), kind == kind_of(l, m, a)) << address_text(a);
      }
    }
  }
}

TEST(Spans, NeighboursOfOneKindStayApart) {
  const RegionMap map =
      flash().region("a", "editable", 0x10, 0x10).region("b", "editable", 0x20, 0x10).parse();
  const Image image = filled_image(map);
  EXPECT_EQ(make_plan(map, image).value().spans(image).size(), 4U);
}

TEST(Areas, AreEditablePatchedAndPinnedDerivedBytesThatAreKnown) {
  Layout l;
  forget(l.image, 0x190, 0x10);
  const std::vector<RangeSet> areas = l.plan.areas(l.image);
  RangeSet wanted;
  for (const Range& range : {Range{0x040, 0x042}, Range{0x100, 0x110}, Range{0x121, 0x190},
                             Range{0x1a0, 0x200}, Range{0x208, 0x20c}})
    wanted.add(range);
  EXPECT_EQ(areas[0], wanted);
  EXPECT_EQ(areas[1], RangeSet());
}

TEST(Areas, WriteRangesAddFloatingPlacesThatDependOnThem) {
  const Layout l;
  const std::vector<RangeSet> ranges = l.plan.write_ranges(l.image);
  RangeSet wanted = l.plan.areas(l.image)[0];
  wanted.add({0x220, 0x224});    // covers the pinned slot
  wanted.add({0x260, 0x264});    // through the copy
  EXPECT_EQ(ranges[0], wanted);  // and not 0x240: only the vehicle changes that one
  EXPECT_EQ(ranges[1], RangeSet());
}

TEST(Areas, APatchUnderAFloatingChecksumIsReasonEnough) {
  const RegionMap map =
      with_learned()
          .patch("p", 0x40, "ff", "00")
          .checksum("c", kCrc32, {range_at(0x40, 1), range_at(0x300, 1)}, {slot_at(0x100, 4)})
          .parse();
  const Image image = filled_image(map);
  RangeSet wanted(Range{0x40, 0x41});
  wanted.add({0x100, 0x104});
  EXPECT_EQ(make_plan(map, image).value().write_ranges(image)[0], wanted);
}

// --- size

TEST(Size, AThousandNestedChecksumsAndFourThousandRegions) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100000);
  builder.add("regions", R"({"name": "r", )" + members_of("start", 0x80000, 16, "flash") +
                             R"(, "policy": "editable", "count": 4096, "stride": 32})");
  // Each covers the slots of all before it.
  builder.checksum("c", kCrc32, {range_at(0x1000, 0x100), range_at(0x2000, 0x10)}, {slot_at(0x10000, 4)});
  for (std::uint64_t i = 1; i < 1000; ++i) {
    builder.checksum("d" + std::to_string(i), kCrc32, {range_at(0x10000, 16 * i)},
                     {slot_at(0x10000 + 16 * i, 4)});
  }
  const RegionMap map = builder.parse();
  const Image image = filled_image(map);
  const auto plan = make_plan(map, image);
  ASSERT_THAT(plan, IsOk());
  for (std::size_t i = 0; i < 1000; ++i) ASSERT_EQ(plan->order[i].nodes, std::vector<std::size_t>{i});
  EXPECT_EQ(plan->spans(image).size(), 2 * 1000 + 1 + 2 * 4096U);
  EXPECT_EQ(plan->areas(image)[0].size(), 4000U + 4096U * 16U);
}

}  // namespace
}  // namespace calseal
