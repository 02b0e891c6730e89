#include "calseal/job/customer_order.h"

#include <gmock/gmock.h>

#include <functional>

#include "job_sample.h"
#include "support/matchers.h"

namespace calseal {
namespace {

using testing::ElementsAre;

OptionFile option(const std::string& name, const std::string& controller = "engine") {
  OptionFile file;
  file.option.name = name;
  file.option.title = "The " + name;
  file.option.controller = controller;
  file.option.region_map = controller + "-map";
  file.file = name + ".json";
  file.digest = compute_sha256(view_of(name + controller));
  return file;
}

Event noted(const std::string& time, std::vector<std::string> options) {
  Event event = ordered_event(std::move(options), std::nullopt, 1, {});
  event.time = time;
  return event;
}

// An engine and a gearbox with their way backs, and an order of the engine's.
VehicleJob sample(std::vector<std::string> ordered) {
  VehicleJob job;
  for (const std::string controller : {"engine", "gearbox"}) {
    Job one = sample_job(0);
    one.facts.controller = controller;
    one.bases.back().map_name = controller + "-map";
    one.bases.back().revisions.back().manifest.controllers.front().identity = {{"software", "SW-1"}};
    one.bases.back().revisions.back().identity_kinds = {"software-number"};
    one.events.push_back(noted("2026-03-05T00:00:00Z", ordered));
    job.controllers.push_back(std::move(one));
  }
  return job;
}

std::vector<std::string> names(const KeptOrder& kept) {
  std::vector<std::string> names;
  for (const OptionFile& one : kept.options) names.push_back(one.option.name);
  return names;
}

std::vector<std::string> whys(const KeptOrder& kept) {
  std::vector<std::string> whys;
  for (const OrderedOption& one : kept.ordered.options) whys.push_back(one.why);
  return whys;
}

TEST(CustomerOrder, TheNewestNoteOfAnyControllerCounts) {
  VehicleJob job = sample({"towing"});
  EXPECT_THAT(order_of(job).options, ElementsAre("towing"));
  job.controllers[1].events.push_back(noted("2026-03-06T00:00:00Z", {"winter", "fan", "winter"}));
  EXPECT_THAT(order_of(job).options, ElementsAre("fan", "winter"));
  // Within one controller the last one counts, although a clock was put back.
  job.controllers[1].events.push_back(noted("2026-03-04T00:00:00Z", {}));
  EXPECT_THAT(order_of(job).options, ElementsAre("towing"));
  job.controllers[0].events.clear();
  EXPECT_TRUE(order_of(job).options.empty());
  EXPECT_EQ(order_of(job).time, "2026-03-04T00:00:00Z");
  job.controllers[1].events.clear();
  EXPECT_EQ(order_of(job).time, "");
}

TEST(CustomerOrder, FilesOfTheShopAreTakenWhereTheyFit) {
  const VehicleJob job = sample({"a", "b", "c", "d"});
  OptionFile by_map = option("b"), by_number = option("c"), by_digest = option("d");
  by_number.option.software_numbers = {"SW-0", "SW-1"};
  std::vector<OptionFile> shop{option("a"), by_map, by_number, by_digest};
  const auto kept = keep_order(job, job.controllers[0], {}, shop);
  ASSERT_TRUE(kept);
  EXPECT_THAT(names(*kept), ElementsAre("a", "b", "c", "d"));
  EXPECT_THAT(whys(*kept), ElementsAre("", "", "", ""));
  EXPECT_EQ(kept->ordered.options[0].title, "The a");
  for (const auto& [index, bend] : std::vector<std::pair<std::size_t, std::function<void(Option&)>>>{
           {0, [](Option& one) { one.controller = "clutch"; }},
           {1, [](Option& one) { one.region_map = "other"; }},
           {2, [](Option& one) { one.software_numbers = {"SW-2"}; }},
           {3, [](Option& one) { one.map_digest = Sha256{}; }}}) {
    std::vector<OptionFile> bent = shop;
    bend(bent[index].option);
    const auto refused = keep_order(job, job.controllers[0], {}, bent);
    ASSERT_FALSE(refused) << index;
    EXPECT_EQ(refused.error().reason, Reason::kOrderOpen);
    EXPECT_EQ(refused.error().place, "option " + bent[index].option.name);
  }
}

TEST(CustomerOrder, WhatIsForAnotherControllerSaysSo) {
  const VehicleJob job = sample({"a", "g"});
  const std::vector<OptionFile> shop{option("a"), option("g", "gearbox")};
  const auto engine = keep_order(job, job.controllers[0], {}, shop);
  ASSERT_TRUE(engine);
  EXPECT_THAT(names(*engine), ElementsAre("a"));
  EXPECT_THAT(whys(*engine), ElementsAre("", "it is for another controller: gearbox"));
  const auto gearbox = keep_order(job, job.controllers[1], {}, shop);
  ASSERT_TRUE(gearbox);
  EXPECT_THAT(names(*gearbox), ElementsAre("g"));
  EXPECT_THAT(whys(*gearbox), ElementsAre("it is for another controller: engine", ""));
  // Of both, it is in both; given in this very send for the other, it is the other's.
  const std::vector<OptionFile> both{option("a"), option("a", "gearbox"), option("g", "gearbox")};
  EXPECT_THAT(names(*keep_order(job, job.controllers[1], {}, both)), ElementsAre("a", "g"));
  OrderWish wish;
  wish.given = {option("a")};
  wish.given_to_any = {option("a"), option("g", "gearbox")};
  EXPECT_THAT(whys(*keep_order(job, job.controllers[0], wish, {})),
              ElementsAre("", "it is for another controller: gearbox"));
}

TEST(CustomerOrder, AReasonStaysUntilTheOptionIsGiven) {
  VehicleJob job = sample({"a", "b"});
  OrderWish wish;
  wish.without = {{"b", "next week"}};
  const std::vector<OptionFile> shop{option("a"), option("b")};
  const auto first = keep_order(job, job.controllers[0], wish, shop);
  ASSERT_TRUE(first);
  EXPECT_THAT(whys(*first), ElementsAre("", "next week"));
  EXPECT_THAT(first->others, testing::SizeIs(1));
  JobRevision revision = sample_revision(1, 1, 2);
  revision.manifest.ordered = first->ordered;
  revision.unaccounted = 1;
  job.controllers[0].bases.back().revisions.push_back(revision);
  wish.without.clear();
  wish.given = {option("a")};
  EXPECT_THAT(whys(*keep_order(job, job.controllers[0], wish, shop)), ElementsAre("", "next week"));
  wish.given.push_back(option("b"));
  EXPECT_THAT(whys(*keep_order(job, job.controllers[0], wish, shop)), ElementsAre("", ""));
}

TEST(CustomerOrder, NothingIsComposedOverAnEditOfTheTuner) {
  VehicleJob job = sample({"a"});
  const std::vector<OptionFile> shop{option("a"), option("a", "gearbox")};
  EXPECT_THAT(*controllers_to_compose(job, "", {}, shop), ElementsAre("engine", "gearbox"));
  EXPECT_THAT(*controllers_to_compose(job, "gearbox", {}, shop), ElementsAre("gearbox"));
  JobRevision revision = sample_revision(1, 1, 2);
  revision.unaccounted = 1;
  job.controllers[0].bases.back().revisions.push_back(revision);
  EXPECT_THAT(*controllers_to_compose(job, "", {}, shop), ElementsAre("gearbox"));
}

TEST(CustomerOrder, WordsAboutWhatWasNotOrderedAreRefused) {
  const VehicleJob job = sample({"a"});
  OrderWish wish;
  wish.without = {{"b", "why"}};
  EXPECT_EQ(keep_order(job, job.controllers[0], wish, {option("a")}).error().reason, Reason::kUsage);
  wish.without = {{"a", "why"}};
  wish.given = {option("a")};
  EXPECT_EQ(keep_order(job, job.controllers[0], wish, {}).error().reason, Reason::kUsage);
}

TEST(CustomerOrder, WithoutAnOrderEverythingIsAsItWas) {
  VehicleJob job = sample({"a"});
  for (Job& one : job.controllers) one.events.clear();
  const auto kept = keep_order(job, job.controllers[0], {}, {option("a")});
  ASSERT_TRUE(kept);
  EXPECT_TRUE(kept->options.empty() && kept->others.empty() && kept->ordered == ManifestOrdered());
}

}  // namespace
}  // namespace calseal
