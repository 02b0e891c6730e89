#include "calseal/report/revision/windows.h"

#include <gmock/gmock.h>

#include "calseal/map/read.h"
#include "calseal/report/revision/revision_report.h"
#include "calseal/report/revision/sides.h"

namespace calseal {
namespace {

using ::testing::HasSubstr;

constexpr Range kFlash{0x80000000, 0x80400000};
constexpr Range kCurves{0x80290000, 0x80294000};
constexpr Range kSlot{0x80010000, 0x80010004};

ManifestSpan span(Range range, SpanKind kind, const Sha256& before, const Sha256& after) {
  ManifestSpan made;
  made.place = {"flash", range};
  made.kind = kind;
  made.before = before, made.after = after;
  return made;
}

// One memory with an editable region and a slot; nothing of it was ever sealed.
OpenedBundle sample() {
  OpenedBundle opened;
  opened.map.memories = {{"flash", kFlash, {kFlash}}};
  opened.map.regions = {{"curves", {0, kCurves}, Policy::kEditable, {}}};
  ManifestController controller;
  controller.name = "engine";
  controller.memories = {{"flash", kFlash, {kFlash}}};
  const Sha256 none;
  controller.spans = {span({kFlash.begin, kSlot.begin}, SpanKind::kLocked, none, none),
                      span(kSlot, SpanKind::kDerived, none, none),
                      span({kSlot.end, kCurves.begin}, SpanKind::kLocked, none, none),
                      span(kCurves, SpanKind::kEditable, none, none),
                      span({kCurves.end, kFlash.end}, SpanKind::kLocked, none, none)};
  opened.manifest.controllers = {controller};
  return opened;
}

Change change(std::uint64_t at, std::uint64_t size, std::string region = "curves") {
  return {{"flash", {at, at + size}}, std::move(region), ""};
}

TEST(Windows, ChangesThatLieTogetherShareOne) {
  OpenedBundle opened = sample();
  opened.changes = {change(0x80290100, 2), change(0x80290140, 2), change(0x80293000, 1)};
  const Windows windows = windows_of(opened.map, placed_changes(opened));
  ASSERT_EQ(windows.shown.size(), 2u);
  EXPECT_EQ(windows.shown[0].letter, "A");
  EXPECT_EQ(windows.shown[0].bytes, 4u);
  EXPECT_TRUE(windows.shown[0].range.contains(Range{0x80290100, 0x80290142}));
  EXPECT_LT(windows.shown[0].range.size(), 256u);
  EXPECT_TRUE(windows.shown[1].range.contains(0x80293000));
}

TEST(Windows, WhatFillsItsRegionIsShownWithAllOfIt) {
  OpenedBundle opened = sample();
  opened.changes = {change(kCurves.begin, kCurves.size() - 16)};
  const Windows windows = windows_of(opened.map, placed_changes(opened));
  ASSERT_EQ(windows.shown.size(), 1u);
  EXPECT_EQ(windows.shown[0].range, kCurves);
}

TEST(Windows, DerivedChangesHaveNone) {
  OpenedBundle opened = sample();
  opened.changes = {change(kSlot.begin, 4, "")};
  const std::vector<PlacedChange> changes = placed_changes(opened);
  ASSERT_EQ(changes.size(), 1u);
  EXPECT_EQ(changes[0].kind, SpanKind::kDerived);
  EXPECT_TRUE(windows_of(opened.map, changes).shown.empty());
}

TEST(Windows, PlacesThatDoNotExistAreLeftOut) {
  OpenedBundle opened = sample();
  opened.changes = {change(kFlash.end - 1, 2), change(kFlash.begin, 0), {{"nowhere", {0, 4}}, "", ""}};
  EXPECT_TRUE(placed_changes(opened).empty());
}

TEST(Windows, AreBounded) {
  OpenedBundle opened = sample();
  opened.map.regions.clear();
  for (std::uint64_t i = 0; i < 200; ++i)
    opened.changes.push_back(change(kCurves.begin + i * 16, 1, "region" + std::to_string(i)));
  const Windows windows = windows_of(opened.map, placed_changes(opened));
  EXPECT_EQ(windows.shown.size(), kMostWindows);
  EXPECT_EQ(windows.left_out, 200 - kMostWindows);
  EXPECT_EQ(windows.shown[26].letter, "A2");
}

// Bytes count only where the manifest's digests prove them.
TEST(Sides, ABaseIsBelievedByItsDigestsAlone) {
  OpenedBundle opened = sample();
  Image base = blank_image(opened.map);
  Memory& memory = base.memories[0];
  memory.known.add(kFlash);
  for (ManifestSpan& one : opened.manifest.controllers[0].spans)
    one.before = one.after = compute_sha256(memory.view(one.place.range));
  opened.manifest.controllers[0].spans[3].after = Sha256();  // the curves became something else
  const Sides right = known_sides(opened, {}, &base);
  EXPECT_TRUE(right.before.memories[0].knows(kFlash));
  EXPECT_FALSE(right.after.memories[0].known.overlaps(kCurves));
  EXPECT_TRUE(right.after.memories[0].knows({kCurves.end, kFlash.end}));

  memory.span({kCurves.begin, kCurves.begin + 1})[0] ^= 1;
  const Sides wrong = known_sides(opened, {}, &base);
  EXPECT_FALSE(wrong.before.memories[0].known.overlaps(kCurves));
  EXPECT_TRUE(wrong.before.memories[0].knows(kSlot));
}

// The page of a bundle that nobody verified says so, and nothing in it gets out of its text.
TEST(RevisionHtml, HostileWordsStayWords) {
  OpenedBundle opened = sample();
  const std::string hostile = "<script>alert(1)</script>\"'>\xe2\x80\xae";
  Manifest& manifest = opened.manifest;
  manifest.job = manifest.title = manifest.vehicle_reference = manifest.tool = manifest.claimed_time =
      hostile;
  manifest.notes = hostile + "\n" + std::string(10'000, '<');
  manifest.requirements = manifest.cautions = manifest.required_roles = {hostile};
  manifest.options = {{hostile, hostile, {}}};
  manifest.annotations = {{hostile, hostile}};
  manifest.attachments = {{hostile, hostile}};
  manifest.revision = 3;
  manifest.parent = Sha256();
  ManifestController& controller = manifest.controllers[0];
  controller.name = controller.map_name = controller.map_grade = hostile;
  controller.identity = {{hostile, hostile + "2"}};
  controller.binding = {{hostile, {"flash", kSlot}, std::nullopt}};
  controller.checksums = {{hostile, CheckState::kFails, hostile + "2"}};
  controller.patches = {{hostile, false, true}};
  opened.map.regions[0].name = hostile;
  opened.map.regions[0].note = hostile;
  opened.map.patches = {{hostile, {0, {0x80290100, 0x80290102}}, {0}, {1}, hostile}};
  opened.changes = {change(0x80290100, 2, hostile)};
  opened.changes[0].option = hostile;
  RevisionView view;
  view.name = hostile;
  view.opened = &opened;
  view.tool = hostile;
  const std::string page = revision_html(view);
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("\xe2\x80\xae"), std::string::npos);
  EXPECT_THAT(page, HasSubstr("NOT VERIFIED"));
  EXPECT_THAT(page, HasSubstr("&lt;script&gt;alert(1)&lt;/script&gt;&quot;&#39;&gt;\\u202e"));
  EXPECT_LT(page.size(), 300'000u);
}

TEST(RevisionHtml, ARefusalOfWhatCannotBeReadIsAPageToo) {
  Verdict verdict;
  verdict.reason = Error{Reason::kSignatureBad,    "r1.calseal",     "signature",
                         "one that does not hold", "one that holds", "ask the shop"};
  RevisionView view;
  view.name = "r1.calseal";
  view.verdict = &verdict;
  view.tool = "calseal";
  const std::string page = revision_html(view);
  EXPECT_THAT(page, HasSubstr("REFUSED"));
  EXPECT_THAT(page, HasSubstr("signature-bad"));
  EXPECT_THAT(page, HasSubstr("Do not write anything from this bundle."));
}

}  // namespace
}  // namespace calseal
