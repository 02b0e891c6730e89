// Sentences of docs/proof.md, each with what it refuses and an honest twin that is accepted.
#include <gtest/gtest.h>

#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

void put_changes(Forgery& forgery, const std::vector<Change>& changes) {
  const std::string text = write_changes(changes);
  forgery.content(kChangesName).assign(text.begin(), text.end());
}

std::vector<Change> changes_of(Forgery& forgery) {
  return *parse_changes(forgery.content(kChangesName), "c");
}

bool has_caution(const Verdict& verdict, std::string_view code, std::string_view words) {
  return std::ranges::any_of(verdict.cautions, [&](const Caution& caution) {
    return caution.code == code && caution.text.find(words) != std::string::npos;
  });
}

// --- match: family

TEST(MatchFamily, TheActiveBankIsAskedOfTheRead) {
  const SmallMap with_bank{.bank = true};
  const SmallJob job(with_bank);
  const auto way_back = job.seal_base();
  const auto later = job.seal_revision(1, edited_small(job.base, 9, with_bank));
  for (const auto* sealed : {&way_back, &later}) {
    ASSERT_THAT(*sealed, IsOk());
    EXPECT_THAT(job.check((*sealed)->file, driven_small(job.base, 3, with_bank)), IsAccepted());
    SmallImage other = job.base;
    other.eeprom[0x10] = 0x02;  // a volatile byte: no locked span tells it
    const Verdict verdict = job.check((*sealed)->file, other);
    EXPECT_THAT(verdict, IsRefusedAt(Reason::kBankNotActive, "mirror"));
    // Before anything is laid: the result would be refused for the same, but only at the end.
    EXPECT_EQ(std::ranges::find(verdict.steps, "match", &Step::name)->state, StepState::kFailed);
  }
}

TEST(MatchFamily, TheReadIsRecognisedByAllThatItKnows) {
  // The base was read without the eeprom, where the map recognises "tail" too.
  const std::string recognise = R"("recognise":{"all":[)";
  std::string text = small_map_text();
  text.insert(text.find(recognise) + recognise.size(),
              R"({"memory":"eeprom","at":"0x00000038","bytes":"7461696c"},)");
  SmallJob job;
  job.map = *parse_region_map(Bytes(text.begin(), text.end()), "small.json");
  SealRequest request = job.request(1, edited_small(job.base, 9));
  for (Image* image : {&request.base, &request.result}) image->memories[1].known = RangeSet();
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  EXPECT_THAT(job.check(sealed->file, job.base), IsAccepted());
  SmallImage other = job.base;
  other.eeprom[0x38] = 'T';
  EXPECT_THAT(job.check(sealed->file, other), IsRefusedAt(Reason::kFamilyMismatch, "eeprom"));
}

TEST(MatchFamily, TheResultIsRecognisedToo) {
  // A rule over editable bytes: a revision that breaks it would have its next read refused.
  const std::string recognise = R"("recognise":{"all":[)";
  std::string text = small_map_text();
  text.insert(text.find(recognise) + recognise.size(),
              R"({"memory":"flash","at":"0x80000044","bytes":"00","mask":"80"},)");
  SmallJob job;
  job.map = *parse_region_map(Bytes(text.begin(), text.end()), "small.json");
  ASSERT_THAT(job.seal_revision(1, edited_small(job.base, 0x7f)), IsOk());
  EXPECT_THAT(job.seal_revision(1, edited_small(job.base, 0x80)), FailsWith(Reason::kFamilyMismatch));
}

// --- floating through binding fields

class OfTheVehicle : public ::testing::Test {
 protected:
  SmallMap options_ = [] {
    SmallMap map;
    map.vin_dependents = true;
    return map;
  }();
  SmallJob job_{options_};

  SmallImage other_vehicle() const {
    SmallImage other = job_.base;
    put(other.flash, 0x1c0, "1M8GDM9AXKP042799");
    correct_small(other, options_);
    return other;
  }
};

TEST_F(OfTheVehicle, WhatDependsOnABindingFieldFloats) {
  const auto sealed = job_.seal_revision(1, edited_small(job_.base, 9, options_));
  ASSERT_THAT(sealed, IsOk());
  Forgery forgery = take_apart(*sealed);
  for (const std::uint64_t at : {0x1d8UL, 0x1e0UL, 0x1f4UL}) {
    EXPECT_EQ(forgery.span("flash", kFlash + at).kind, SpanKind::kFloating) << at;
    EXPECT_FALSE(forgery.span("flash", kFlash + at).after) << at;
  }
  for (const char* name : {"vin", "vin-sum", "vin-again"}) {
    const auto& checks = forgery.controller().checksums;
    EXPECT_EQ(std::ranges::find(checks, name, &ManifestChecksum::name)->value, "") << name;
  }
  EXPECT_EQ(rebuilt_small(job_.check(sealed->file, job_.base)), edited_small(job_.base, 9, options_));
}

TEST_F(OfTheVehicle, TwoVehiclesDifferInSaltedDigestsAlone) {
  SmallJob second(options_);
  second.base = other_vehicle();
  auto a = job_.seal_revision(1, edited_small(job_.base, 9, options_));
  auto b = second.seal_revision(1, edited_small(second.base, 9, options_));
  ASSERT_THAT(a, IsOk());
  ASSERT_THAT(b, IsOk());
  Forgery first = take_apart(*a), other = take_apart(*b);
  EXPECT_EQ(first.contents, other.contents);
  ASSERT_NE(first.controller().binding[0].digest, other.controller().binding[0].digest) << "the VIN";
  other.controller().binding[0].digest = first.controller().binding[0].digest;
  EXPECT_EQ(first.manifest, other.manifest);
}

TEST_F(OfTheVehicle, ItsValuesDoNotGoStale) {
  const auto sealed = job_.seal_revision(1, edited_small(job_.base, 9, options_));
  ASSERT_THAT(sealed, IsOk());
  // The sector of the VIN holds learned bytes as well, so the read must be fresh; without sectors only what
  // reads learned bytes and is written asks for it, and nothing of the VIN is written.
  SmallMap plain = options_;
  plain.sectors = false;
  plain.floating_reads_fuel = false;
  const SmallJob job(plain);
  const auto revision = job.seal_revision(1, edited_small(job.base, 9, plain));
  ASSERT_THAT(revision, IsOk());
  CheckRequest request = job.check_request(revision->file, job.base);
  request.evidence.read_is_fresh = false;
  EXPECT_THAT(check_bundle(request), IsAccepted());
}

// --- contents against the manifest

class Contents : public ::testing::Test {
 protected:
  Contents() : forgery_(take_apart(*job_.seal_revision(1, edited_small(job_.base, 9)))) {}
  // A read that is not the base anywhere in its calibration, so that nothing else could tell.
  Verdict check() const {
    return job_.check(put_together(forgery_, {job_.author}), edited_small(job_.base, 3));
  }

  SmallJob job_;
  Forgery forgery_;
};

TEST_F(Contents, AHonestTwinIsAccepted) { EXPECT_THAT(check(), IsAccepted()); }

TEST_F(Contents, ChangesAgreeWithTheManifest) {
  const std::vector<Change> honest = changes_of(forgery_);
  ASSERT_GE(honest.size(), 4U);
  const auto refused = [&](const char* what, const std::vector<Change>& bent) {
    put_changes(forgery_, bent);
    EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json")) << what;
  };
  refused("an empty list", {});
  for (std::size_t i = 0; i < honest.size(); ++i) {
    std::vector<Change> bent = honest;
    bent.erase(bent.begin() + static_cast<std::ptrdiff_t>(i));
    if (i != 0 && honest[i - 1].region == honest[i].region) continue;
    refused("one left out", bent);
  }
  std::vector<Change> bent = honest;
  bent.insert(bent.begin(), {{"flash", {kFlash, kFlash + 4}}, "", ""});
  refused("signed boot bytes", bent);
  bent = honest;
  bent.push_back({{"ram", {0, 4}}, "", ""});
  refused("a memory that does not exist", bent);
  bent = honest;
  std::ranges::stable_partition(bent, [](const Change& c) { return c.place.memory == "eeprom"; });
  refused("memories in another order", bent);
  bent = honest;
  bent.front().region = "spark";
  refused("another region", bent);
  bent = honest;
  bent.front().option = "flat-foot";
  refused("an option that nobody names", bent);
  bent = honest;
  bent.front().place.range.begin = kFlash + 0x3f;
  refused("a range over two spans", bent);
  bent = honest;
  bent.insert(bent.begin() + 1, bent.front());
  bent[0].place.range = {kFlash + 0x44, kFlash + 0x45};
  bent[1].place.range = {kFlash + 0x45, kFlash + 0x46};
  refused("two ranges that touch", bent);
  put_changes(forgery_, honest);
  EXPECT_THAT(check(), IsAccepted());
}

TEST_F(Contents, ChangesOfPatchesAreThePatches) {
  SmallImage patched = edited_small(job_.base, 9);
  put(patched.flash, 0x28, "\x33\x44");
  correct_small(patched);
  forgery_ = take_apart(*job_.seal_revision(1, patched));
  EXPECT_THAT(check(), IsAccepted());
  std::vector<Change> bent = changes_of(forgery_);
  ASSERT_EQ(bent.front().place.range, (Range{kFlash + 0x28, kFlash + 0x2a}));
  bent.front().place.range.end -= 1;
  put_changes(forgery_, bent);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json"));
}

TEST_F(Contents, NamesAreThoseOfTheMap) {
  const Forgery honest = forgery_;
  forgery_.controller().identity.front().name = "hardware";
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/identity"));
  forgery_ = honest;
  forgery_.controller().identity.pop_back();
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/identity"));
  forgery_ = honest;
  forgery_.controller().patches.clear();
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/patches"));
}

TEST_F(Contents, FilesOfTheWayBackAreInItsPayload) {
  forgery_ = take_apart(*job_.seal_base());
  EXPECT_THAT(check(), IsAccepted());
  forgery_.controller().files.at(1).digest = compute_sha256(view_of("another"));
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/files/1"));
  forgery_ = take_apart(*job_.seal_base());
  forgery_.controller().files.at(0).size += 1;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/files/0"));
}

// --- claims

TEST_F(Contents, TheBaseOfLockedSpansFollowsFromThePatches) {
  SmallImage patched = edited_small(job_.base, 9);
  put(patched.flash, 0x28, "\x33\x44");
  correct_small(patched);
  forgery_ = take_apart(*job_.seal_revision(1, patched));
  ManifestSpan& span = forgery_.span("flash", kFlash + 0x28);
  ASSERT_NE(span.before, span.after);
  span.before = compute_sha256(view_of("another"));
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/spans, flash"));
  // Of a span without a patch too, which may differ once any patch changes.
  forgery_ = take_apart(*job_.seal_revision(1, patched));
  forgery_.span("flash", kFlash + 0x200).before = compute_sha256(view_of("another"));
  EXPECT_THAT(check(), IsRefused(Reason::kClaimMismatch));
}

TEST(RebuiltFiles, OfALaterRevisionAreProved) {
  // Without learned values and binding fields every byte is pinned, and the file can be foretold.
  const std::string text =
      R"({"calseal":"region-map/1","name":"plain","controller":"engine","version":1,)"
      R"("memories":[{"name":"flash","origin":"0x80000000","size":64}],)"
      R"("regions":[{"name":"fuel","memory":"flash","start":"0x80000010","size":16,"policy":"editable"}],)"
      R"("evidence":{"author":"tests","verified_on":[],"guesses":[],"grade":"draft"}})";
  const SmallJob job;
  const RegionMap map = *parse_region_map(Bytes(text.begin(), text.end()), "plain.json");
  SealRequest request = job.request(1, job.base);
  request.map = &map;
  request.salt.reset();
  Memory flash{"flash", {kFlash, kFlash + 64}, Bytes(64, 0x11), RangeSet({kFlash, kFlash + 64})};
  request.base.memories = {flash};
  flash.bytes[0x12] = 0x99;
  request.result.memories = {flash};
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  const auto check = [&](const Bytes& bundle) {
    CheckRequest asked = job.check_request(bundle, job.base);
    asked.read = {{"flash", "flash.bin", Bytes(64, 0x11)}};
    asked.evidence.salt.reset();
    asked.evidence.vehicle_reference = "blue estate";
    return check_bundle(asked);
  };
  EXPECT_THAT(check(sealed->file), IsAccepted());
  Forgery forgery = take_apart(*sealed);
  ASSERT_EQ(forgery.controller().files.size(), 1U);
  forgery.controller().files[0].digest = compute_sha256(view_of("another"));
  EXPECT_THAT(check(put_together(forgery, {job.author})),
              IsRefusedAt(Reason::kClaimMismatch, "controllers/0/files/0"));
  forgery.controller().files.clear();
  EXPECT_THAT(check(put_together(forgery, {job.author})), IsRefused(Reason::kManifestInvalid));
}

// --- revive

TEST(Reviving, WritesTheResultAndSaysWhatHolds) {
  SmallJob job;
  job.base.flash[0x140] ^= 1U;  // "spark" is derived: it came failing and stays so
  job.base.flash[0x1b0] ^= 1U;  // "learned" floats: it is corrected
  SealRequest request = job.request(0, job.base);
  request.as_received = true;
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  CheckRequest asked = job.check_request(sealed->file, job.base);
  asked.read.clear();
  asked.revive = true;
  asked.evidence.vehicle_reference = "blue estate";
  const Verdict verdict = check_bundle(asked);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.vehicle, VehicleProof::kAsserted);
  SmallImage expected = job.base;
  expected.flash[0x1b0] ^= 1U;
  EXPECT_EQ(rebuilt_small(verdict), expected);
  EXPECT_TRUE(has_caution(verdict, "read-checksum-fails", "in the first read, learned does not hold"));
  EXPECT_TRUE(has_caution(verdict, "read-checksum-fails", "spark does not hold"));
  for (const Caution& caution : verdict.cautions) {
    if (caution.text.find("spark does not hold") == std::string::npos) continue;
    EXPECT_EQ(caution.text.find("the result holds"), std::string::npos) << caution.text;
  }
}

TEST(Reviving, AWayBackThatContradictsItselfIsNoFaultOfARead) {
  const SmallJob job;
  Forgery forgery = take_apart(*job.seal_base());
  forgery.span("flash", kFlash + 0x200).before = forgery.span("flash", kFlash + 0x200).after =
      compute_sha256(view_of("another"));
  CheckRequest asked = job.check_request(put_together(forgery, {job.author}), job.base);
  asked.read.clear();
  asked.revive = true;
  asked.evidence.vehicle_reference = "blue estate";
  const Verdict verdict = check_bundle(asked);
  ASSERT_THAT(verdict, IsRefused(Reason::kReadForeign));
  EXPECT_EQ(verdict.reason->next, "do not use this bundle; tell the shop");
  EXPECT_NE(verdict.reason->found.find("first read that this bundle carries"), std::string::npos);
}

}  // namespace
}  // namespace calseal
