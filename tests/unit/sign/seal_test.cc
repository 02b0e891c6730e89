// What sealing refuses, and what it makes.
#include "calseal/sign/seal.h"

#include <gtest/gtest.h>

#include "calseal/check/check.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

TEST(Seal, SameInputsGiveTheSameBytes) {
  const SmallJob one;
  const SmallJob two;
  const auto first = one.seal_revision(1, edited_small(one.base, 9));
  const auto second = two.seal_revision(1, edited_small(two.base, 9));
  ASSERT_THAT(first, IsOk());
  ASSERT_THAT(second, IsOk());
  EXPECT_EQ(first->file, second->file);
  SealRequest later = one.request(1, edited_small(one.base, 9));
  later.statement.claimed_time.seconds += 1;
  EXPECT_NE(seal(later, {one.author}, one.trust)->digest, first->digest);
  // The order in which keys and lists were given does not show.
  SealRequest request = one.request(1, edited_small(one.base, 9));
  request.statement.attachments = {{"b.txt", "B", {1}}, {"a.txt", "A", {2}}};
  request.statement.permitted_returns = {compute_sha256(view_of("r")), compute_sha256(view_of("q"))};
  const auto ordered = seal(request, {one.author, one.reviewer}, one.trust);
  ASSERT_THAT(ordered, IsOk());
  std::swap(request.statement.attachments[0], request.statement.attachments[1]);
  std::swap(request.statement.permitted_returns[0], request.statement.permitted_returns[1]);
  EXPECT_EQ(seal(request, {one.reviewer, one.author}, one.trust)->file, ordered->file);
}

TEST(Seal, ADraftedMapStaysDrafted) {
  const SmallJob job(SmallMap{.grade = "verified"});
  const auto sealed = job.seal_base();
  ASSERT_THAT(sealed, IsOk());
  EXPECT_EQ(sealed->manifest.controller().map_grade, "verified");
  EXPECT_FALSE(std::ranges::any_of(job.check(sealed->file, job.base).cautions,
                                   [](const Caution& c) { return c.code == "map-draft"; }));
}

TEST(Seal, NeedsDifferentKeys) {
  const SmallJob job;
  const SealRequest request = job.request(0, job.base);
  EXPECT_THAT(seal(request, SigningKeys(), job.trust), FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(seal(request, {job.author, job.author}, job.trust), FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(seal(request, SigningKeys(9, job.author), job.trust), FailsWith(Reason::kUsage, "keys"));
}

TEST(Seal, BelievesNoMapThatDoesNotHold) {
  SmallJob job;
  job.base.flash[0xc0] ^= 1U;
  EXPECT_THAT(job.seal_base(), FailsWith(Reason::kMapNotBelieved));
  SmallJob half;
  half.base.flash[0x28] = 0x33;
  correct_small(half.base);
  EXPECT_THAT(half.seal_base(), FailsWith(Reason::kChangePatch));
  SmallJob other;
  other.base.flash[0] = 'T';
  correct_small(other.base);
  EXPECT_THAT(other.seal_base(), FailsWith(Reason::kFamilyMismatch));
}

TEST(Seal, RefusesEveryChangeOutsideTheMap) {
  const SmallJob job;
  const auto with = [&](std::size_t at, bool corrected, bool eeprom = false) {
    SmallImage bent = edited_small(job.base, 9);
    (eeprom ? bent.eeprom : bent.flash)[at] ^= 1U;
    if (corrected) correct_small(bent);
    return job.seal_revision(1, bent);
  };
  EXPECT_THAT(with(0x10, true), FailsWith(Reason::kChangeSigned, "boot"));
  EXPECT_THAT(with(0x20, true), FailsWith(Reason::kChangeLocked, "flash 0x80000020"));
  EXPECT_THAT(with(0x28, true), FailsWith(Reason::kChangePatch, "long-blink"));
  EXPECT_THAT(with(0x180, true), FailsWith(Reason::kChangeVolatile, "learned"));
  EXPECT_THAT(with(0x1c0, true), FailsWith(Reason::kChangeVolatile, "vin"));
  EXPECT_THAT(with(0x21, false, true), FailsWith(Reason::kChangeVolatile, "serial"));
  EXPECT_THAT(with(0x48, false), FailsWith(Reason::kCopyOneSided));
  EXPECT_THAT(with(0x140, false), FailsWith(Reason::kDerivedWrong, "spark"));
  EXPECT_THAT(with(0x1b0, false), FailsWith(Reason::kDerivedWrong, "learned"));
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.result.memories[0].known.remove({kFlash + 0x40, kFlash + 0x41});
  EXPECT_THAT(seal(request, {job.author}, job.trust), FailsWith(Reason::kReadIncomplete));
}

TEST(Seal, RevisionZeroIsTheBase) {
  const SmallJob job;
  EXPECT_THAT(seal(job.request(0, edited_small(job.base, 9)), {job.author}, job.trust),
              FailsWith(Reason::kManifestInvalid));
}

TEST(Seal, StatementsThatDoNotFitTogether) {
  const SmallJob job;
  const auto attempt = [&](const auto& bend) {
    SealRequest request = job.request(1, edited_small(job.base, 9));
    bend(request.statement);
    return seal(request, {job.author}, job.trust);
  };
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.sequence = 1; }), FailsWith(Reason::kManifestInvalid));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.parent.reset(); }), FailsWith(Reason::kManifestInvalid));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.required_roles = {"reviewer"}; }),
              FailsWith(Reason::kManifestInvalid));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.expires = "2026-01-01T00:00:00Z"; }),
              FailsWith(Reason::kManifestInvalid));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.expires = "tomorrow"; }), FailsWith(Reason::kJsonValue));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.job = "Job 7"; }), FailsWith(Reason::kJsonValue));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.title = "two\nlines"; }), FailsWith(Reason::kJsonValue));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.notes = "\xff"; }), FailsWith(Reason::kJsonSyntax));
  EXPECT_THAT(attempt([](RevisionStatement& s) {
                s.attachments = {{"../etc", "t", {1}}};
              }),
              FailsWith(Reason::kManifestInvalid));
  EXPECT_THAT(attempt([](RevisionStatement& s) {
                s.attachments = {{"a", "t", {1}}, {"a", "t", {1}}};
              }),
              FailsWith(Reason::kManifestInvalid));
  EXPECT_THAT(attempt([](RevisionStatement& s) { s.notes.assign(70000, 'n'); }),
              FailsWith(Reason::kJsonValue));
}

TEST(Seal, TheCheckerHasTheLastWord) {
  SmallJob job;
  const SealRequest request = job.request(1, edited_small(job.base, 9));
  EXPECT_THAT(seal(request, {job.stranger}, job.trust), FailsWith(Reason::kSignerUnknown));
  SealRequest unprovable = request;
  unprovable.salt.reset();
  unprovable.statement.vehicle_reference.clear();
  EXPECT_THAT(seal(unprovable, {job.author}, job.trust), FailsWith(Reason::kVehicleNotProvable));
  unprovable.salt = job.salt;
  EXPECT_THAT(seal(unprovable, {job.author}, job.trust), IsOk());
  job.author_entry().compromised = true;
  EXPECT_THAT(seal(request, {job.author}, job.trust), FailsWith(Reason::kKeyCompromised));
  job.author_entry().compromised = false;
  job.author_entry().jobs = {"another"};
  EXPECT_THAT(seal(request, {job.author}, job.trust), FailsWith(Reason::kKeyScope));
  job.author_entry().jobs = {};
  job.author_entry().valid_until = "2026-03-01T00:00:00Z";
  EXPECT_THAT(seal(request, {job.author}, job.trust), FailsWith(Reason::kKeyValidity));
}

TEST(Seal, WithoutSaltNoFieldIsBound) {
  const SmallJob job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.salt.reset();
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  EXPECT_FALSE(sealed->manifest.salt_digest);
  for (const ManifestBinding& binding : sealed->manifest.controller().binding) EXPECT_FALSE(binding.digest);
}

TEST(Seal, AttachmentsComeBackAsTheyWere) {
  const SmallJob job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  const Bytes log(5000, 'l');
  request.statement.attachments = {{"log.txt", "Log", log}};
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  EXPECT_TRUE(sealed->manifest.find_entry("attachments/log.txt")->deflated);
  EXPECT_EQ(take_apart(*sealed).content("attachments/log.txt"), log);
}

// The pinned digest redone with nothing but SHA-256, as the page says.
TEST(Seal, PinnedDigestsFollowThePage) {
  const SmallJob job;
  const SmallImage result = edited_small(job.base, 9);
  const auto sealed = job.seal_revision(1, result);
  ASSERT_THAT(sealed, IsOk());
  for (const bool after : {false, true}) {
    const SmallImage& image = after ? result : job.base;
    std::string lines;
    for (const ManifestSpan& span : sealed->manifest.controller().spans) {
      if (!span.before) continue;
      const bool flash = span.place.memory == "flash";
      const std::uint64_t from = span.place.range.begin - (flash ? kFlash : 0);
      const ByteView bytes =
          ByteView(flash ? image.flash : image.eeprom).subspan(from, span.place.range.size());
      char line[256];
      std::snprintf(line, sizeof line, "%s 0x%08llx %llu %s\n", span.place.memory.c_str(),
                    static_cast<unsigned long long>(span.place.range.begin),
                    static_cast<unsigned long long>(span.place.range.size()),
                    digest_text(compute_sha256(bytes)).c_str());
      lines += line;
    }
    const auto& c = sealed->manifest.controller();
    EXPECT_EQ(compute_sha256(view_of(lines)), after ? c.pinned_after : c.pinned_before);
  }
}

}  // namespace
}  // namespace calseal
