// Which reads a bundle rebuilds, and to what: byte for byte against images made by plain code.
#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

const Step& step_of(const Verdict& verdict, std::string_view name) {
  return *std::ranges::find(verdict.steps, name, &Step::name);
}

// The file of one memory in records, without the given range.
Bytes hex_without(std::uint64_t origin, const Bytes& bytes, Range hole) {
  const auto at = [&](std::uint64_t address) {
    return bytes.begin() + static_cast<std::ptrdiff_t>(address - origin);
  };
  const std::string text = write_intel_hex(
      {{origin, Bytes(at(origin), at(hole.begin))}, {hole.end, Bytes(at(hole.end), bytes.end())}});
  return {text.begin(), text.end()};
}

TEST(Rebuild, TheBaseBecomesTheRevision) {
  const SmallJob job;
  const SmallImage result = edited_small(job.base, 9);
  const auto sealed = job.seal_revision(1, result);
  ASSERT_THAT(sealed, IsOk());
  const Verdict verdict = job.check(sealed->file, job.base);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(rebuilt_small(verdict), result);
  EXPECT_EQ(verdict.vehicle, VehicleProof::kProved);
  EXPECT_EQ(verdict.manifest_digest, sealed->digest);
  EXPECT_EQ(verdict.signers, std::vector<std::string>{"Author"});
  for (const Step& step : verdict.steps) EXPECT_EQ(step.state, StepState::kPassed) << step.name;
  std::uint64_t differing = 0;
  for (std::size_t i = 0; i < result.flash.size(); ++i)
    differing += result.flash[i] != job.base.flash[i] ? 1U : 0U;
  for (std::size_t i = 0; i < result.eeprom.size(); ++i)
    differing += result.eeprom[i] != job.base.eeprom[i] ? 1U : 0U;
  EXPECT_EQ(verdict.bytes_to_change, differing);
  EXPECT_EQ(verdict.editable_share, (64U + 64U + 8U) * 10000U / (1024U + 64U));
}

TEST(Rebuild, AReadKeepsItsOwnLearnedValues) {
  const SmallJob job;
  for (const PayloadKind payload : {PayloadKind::kAreas, PayloadKind::kFull}) {
    SealRequest request = job.request(1, edited_small(job.base, 9));
    request.payload = payload;
    const auto sealed = seal(request, {job.author}, job.trust);
    ASSERT_THAT(sealed, IsOk());
    for (const std::uint8_t learned : {std::uint8_t{1}, std::uint8_t{200}}) {
      const Verdict verdict = job.check(sealed->file, driven_small(job.base, learned));
      ASSERT_THAT(verdict, IsAccepted());
      EXPECT_EQ(rebuilt_small(verdict), driven_small(edited_small(job.base, 9), learned));
    }
  }
}

// Revision 0 carries learned values of its own; a read that is there keeps those that it has now.
TEST(Rebuild, TheWayBackKeepsTheLearnedValuesOfTheRead) {
  const SmallJob job;
  const auto sealed = job.seal_base();
  ASSERT_THAT(sealed, IsOk());
  EXPECT_EQ(rebuilt_small(job.check(sealed->file, job.base)), job.base);
  const Verdict verdict = job.check(sealed->file, driven_small(edited_small(job.base, 9), 77));
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(rebuilt_small(verdict), driven_small(job.base, 77));
}

TEST(Rebuild, AnotherVehicleWithTheSameSoftwareIsRefused) {
  const SmallJob job;
  const auto first = job.seal_base();
  const auto second = job.seal_revision(1, edited_small(job.base, 9));
  ASSERT_THAT(first, IsOk());
  ASSERT_THAT(second, IsOk());
  for (const Bytes& bundle : {first->file, second->file}) {
    SmallImage other = job.base;
    other.flash[0x1d0] = '9';  // the VIN's last digit
    EXPECT_THAT(job.check(bundle, other), IsRefusedAt(Reason::kVehicleMismatch, "vin"));
    other = job.base;
    other.eeprom[0x20] = 0;
    EXPECT_THAT(job.check(bundle, other), IsRefusedAt(Reason::kVehicleMismatch, "serial"));
    // The right word does not outweigh it.
    CheckRequest request = job.check_request(bundle, other);
    request.evidence.vehicle_reference = "blue estate";
    EXPECT_THAT(check_bundle(request), IsRefused(Reason::kVehicleMismatch));
  }
}

TEST(Rebuild, OtherSoftwareIsRefused) {
  const SmallJob job;
  const auto first = job.seal_base();
  SealRequest whole = job.request(1, edited_small(job.base, 9));
  whole.payload = PayloadKind::kFull;
  const auto second = seal(whole, {job.author}, job.trust);
  const auto third = job.seal_revision(1, edited_small(job.base, 9));
  for (const auto* sealed : {&first, &second, &third}) {
    ASSERT_THAT(*sealed, IsOk());
    for (const std::size_t at : {0x00UL, 0x08UL, 0x10UL, 0x20UL, 0xc8UL, 0x3ffUL}) {
      SmallImage other = job.base;
      other.flash[at] ^= 1U;
      EXPECT_THAT(job.check((*sealed)->file, other), IsRefused(Reason::kReadForeign)) << at;
    }
  }
}

TEST(Rebuild, AReadThatDoesNotHoldIsNamedAndStillRebuilt) {
  const SmallJob job;
  const SmallImage result = edited_small(job.base, 9);
  const auto sealed = job.seal_revision(1, result);
  SmallImage stale = job.base;
  stale.flash[0x44] = 0x77;  // half written: neither copy nor sums follow
  const Verdict verdict = job.check(sealed->file, stale);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(rebuilt_small(verdict), result);
  EXPECT_TRUE(std::ranges::any_of(verdict.cautions,
                                  [](const Caution& c) { return c.code == "read-checksum-fails"; }));
}

TEST(Rebuild, APatchTravelsAndMustStandWhole) {
  const SmallJob job;
  SmallImage patched = edited_small(job.base, 9);
  put(patched.flash, 0x28, "\x33\x44");
  correct_small(patched);
  const auto sealed = job.seal_revision(1, patched);
  ASSERT_THAT(sealed, IsOk());
  EXPECT_TRUE(sealed->manifest.controller().patches.at(0).in_result);
  EXPECT_EQ(rebuilt_small(job.check(sealed->file, job.base)), patched);
  const auto back = job.seal_base();
  EXPECT_EQ(rebuilt_small(job.check(back->file, patched)), job.base);
  SmallImage half = job.base;
  half.flash[0x28] = 0x33;
  for (const auto* bundle : {&sealed, &back}) {
    EXPECT_THAT(job.check((*bundle)->file, half), IsRefusedAt(Reason::kChangePatch, "long-blink"));
  }
}

TEST(Rebuild, ReadThatIsNotFresh) {
  for (const bool sectors : {true, false}) {
    for (const bool floating : {true, false}) {
      const SmallMap options{.sectors = sectors, .floating_reads_fuel = floating};
      const SmallJob job(options);
      const auto sealed = job.seal_revision(1, edited_small(job.base, 9, options));
      ASSERT_THAT(sealed, IsOk());
      CheckRequest request = job.check_request(sealed->file, driven_small(job.base, 5, options));
      request.evidence.read_is_fresh = false;
      const Verdict verdict = check_bundle(request);
      if (sectors) {
        EXPECT_THAT(verdict, IsRefusedAt(Reason::kReadNotFresh, "sector flash 0x80000100-0x800001ff"));
      } else if (floating) {
        EXPECT_THAT(verdict, IsRefusedAt(Reason::kReadNotFresh, "flash 0x800001b0-0x800001b1"));
      } else {
        ASSERT_THAT(verdict, IsAccepted());
        EXPECT_EQ(rebuilt_small(verdict), driven_small(edited_small(job.base, 9, options), 5, options));
      }
    }
  }
}

// What the read lacks would also lack in the file that is written back in its form.
TEST(Rebuild, IncompleteReads) {
  const SmallMap options{.sectors = false};
  const SmallJob job(options);
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9, options));
  ASSERT_THAT(sealed, IsOk());
  const auto check_without = [&](const SmallJob& with, const SealedBundle& bundle, Range hole) {
    CheckRequest request = with.check_request(bundle.file, with.base);
    request.read[0].bytes = hex_without(kFlash, with.base.flash, hole);
    return check_bundle(request);
  };
  EXPECT_THAT(check_without(job, *sealed, {kFlash + 0x20, kFlash + 0x24}),
              IsRefusedAt(Reason::kReadIncomplete, "flash 0x80000020"));  // code
  EXPECT_THAT(check_without(job, *sealed, {kFlash + 0x50, kFlash + 0x52}),
              IsRefusedAt(Reason::kReadIncomplete, "flash 0x80000050"));  // fuel
  EXPECT_THAT(check_without(job, *sealed, {kFlash + 0xc0, kFlash + 0xc4}),
              IsRefusedAt(Reason::kReadIncomplete, "flash 0x800000c0"));  // derived
  EXPECT_THAT(check_without(job, *sealed, {kFlash + 0x1c0, kFlash + 0x1c1}),
              IsRefusedAt(Reason::kReadIncomplete, "flash 0x800001c0"));  // VIN
  EXPECT_THAT(check_without(job, *sealed, {kFlash + 0x180, kFlash + 0x190}),
              IsRefusedAt(Reason::kChecksumNotProvable, "learned"));
  CheckRequest one = job.check_request(sealed->file, job.base);
  one.read.pop_back();
  EXPECT_THAT(check_bundle(one), IsRefusedAt(Reason::kReadIncomplete, "eeprom"));

  const SmallJob sectors;
  const auto other = sectors.seal_revision(1, edited_small(sectors.base, 9));
  ASSERT_THAT(other, IsOk());
  EXPECT_THAT(check_without(sectors, *other, {kFlash + 0x180, kFlash + 0x190}),
              IsRefusedAt(Reason::kReadIncomplete, "flash 0x80000180"));
}

// A base read only in part: what it did not know is nobody's business, and stays as it is in every read.
TEST(Rebuild, AReadMayKnowMoreThanTheBase) {
  const SmallJob job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  const Range unread{kFlash + 0x300, kFlash + 0x400};
  request.base.memories[0].known.remove(unread);
  request.result.memories[0].known.remove(unread);
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  SmallImage read = job.base;
  read.flash[0x310] = 0x42;
  const Verdict verdict = job.check(sealed->file, read);
  ASSERT_THAT(verdict, IsAccepted());
  SmallImage expected = edited_small(job.base, 9);
  expected.flash[0x310] = 0x42;
  EXPECT_EQ(rebuilt_small(verdict), expected);
}

TEST(Rebuild, FilesComeBackInTheirOwnForm) {
  const SmallJob job;
  const SmallImage result = edited_small(job.base, 9);
  const auto sealed = job.seal_revision(1, result);
  CheckRequest request = job.check_request(sealed->file, job.base);
  const std::string records = write_intel_hex({{kFlash, job.base.flash}});
  request.read[0].bytes.assign(records.begin(), records.end());
  const Verdict verdict = check_bundle(request);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(text_of(verdict.files.at(0).bytes), write_intel_hex({{kFlash, result.flash}}));
  EXPECT_EQ(verdict.files.at(1).bytes, result.eeprom);
}

TEST(Evidence, WhatProvesTheVehicle) {
  const SmallJob job;
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9));
  CheckRequest request = job.check_request(sealed->file, job.base);
  request.evidence.salt = Bytes(kSaltSize, 1);
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kSaltWrong));
  request.evidence.salt.reset();
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kVehicleNotProvable));
  request.evidence.vehicle_reference = "red coupe";
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kVehicleReference));
  request.evidence.salt = job.salt;
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kVehicleReference));
  request.evidence.vehicle_reference = "blue estate";
  EXPECT_EQ(check_bundle(request).vehicle, VehicleProof::kProved);
  request.evidence.salt.reset();
  const Verdict verdict = check_bundle(request);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.vehicle, VehicleProof::kByReference);
}

TEST(Evidence, BlankOrAbsentBindingFieldsProveNothing) {
  SmallJob blank;
  std::fill_n(blank.base.flash.begin() + 0x1c0, 17, std::uint8_t{0xff});
  std::fill_n(blank.base.eeprom.begin() + 0x20, 16, std::uint8_t{0});
  const SmallJob absent(SmallMap{.binding = false});
  for (const SmallJob* job : {static_cast<const SmallJob*>(&blank), &absent}) {
    const auto sealed = job->seal_revision(1, edited_small(job->base, 9));
    ASSERT_THAT(sealed, IsOk());
    EXPECT_THAT(job->check(sealed->file, job->base), IsRefused(Reason::kVehicleNotProvable));
    CheckRequest request = job->check_request(sealed->file, job->base);
    request.evidence.vehicle_reference = "blue estate";
    EXPECT_EQ(check_bundle(request).vehicle, VehicleProof::kByReference);
  }
}

TEST(Evidence, AReferenceThatTheManifestDoesNotHave) {
  const SmallJob job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.statement.vehicle_reference.clear();
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  CheckRequest check = job.check_request(sealed->file, job.base);
  check.evidence.vehicle_reference = "blue estate";
  EXPECT_THAT(check_bundle(check), IsRefused(Reason::kVehicleReference));
}

TEST(Evidence, EachItemIsListedAsGivenOrMissing) {
  const SmallJob job;
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9));
  CheckRequest request = job.check_request(sealed->file, job.base);
  const auto given = [](const Verdict& verdict, std::string_view name) {
    return std::ranges::find(verdict.evidence, name, &EvidenceItem::name)->given;
  };
  Verdict verdict = check_bundle(request);
  for (const char* name : {"trust-file", "read", "read-is-fresh", "salt"})
    EXPECT_TRUE(given(verdict, name)) << name;
  for (const char* name : {"root-fingerprint", "vehicle-reference", "revive"})
    EXPECT_FALSE(given(verdict, name)) << name;
  request = {};
  request.bundle_name = "b";
  verdict = check_bundle(request);
  for (const char* name : {"read", "read-is-fresh", "salt", "root-fingerprint"})
    EXPECT_FALSE(given(verdict, name)) << name;
  EXPECT_EQ(verdict.outcome, Outcome::kRefused);
}

TEST(NoRead, IsMissing) {
  const SmallJob job;
  for (const auto& sealed : {job.seal_base(), job.seal_revision(1, edited_small(job.base, 9))}) {
    CheckRequest request = job.check_request(sealed->file, job.base);
    request.read.clear();
    EXPECT_THAT(check_bundle(request), IsRefused(Reason::kReadMissing));
  }
}

TEST(NoRead, SealOnlyIsAuthenticNeverAccepted) {
  const SmallJob job;
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9));
  CheckRequest request = job.check_request(sealed->file, job.base);
  request.seal_only = true;
  for (const bool with_read : {true, false}) {
    for (const bool revive : {true, false}) {
      if (!with_read) request.read.clear();
      request.revive = revive;
      const Verdict verdict = check_bundle(request);
      EXPECT_EQ(verdict.outcome, Outcome::kAuthentic);
      EXPECT_TRUE(verdict.files.empty());
      EXPECT_FALSE(verdict.reason);
      EXPECT_EQ(step_of(verdict, "contents").state, StepState::kPassed);
      EXPECT_EQ(step_of(verdict, "match").state, StepState::kNotAsked);
    }
  }
  request.bundle[request.bundle.size() / 2] ^= 1U;
  EXPECT_EQ(check_bundle(request).outcome, Outcome::kRefused);
}

TEST(Revive, WritesRevisionZeroWholeOnTheDeclaredWord) {
  const SmallJob job;
  const auto sealed = job.seal_base();
  CheckRequest request = job.check_request(sealed->file, job.base);
  request.read.clear();
  request.revive = true;
  request.evidence.read_is_fresh = false;
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kVehicleNotProvable))
      << "the salt alone is no vehicle";
  request.evidence.vehicle_reference = "red coupe";
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kVehicleReference));
  request.evidence.vehicle_reference = "blue estate";
  for (const bool with_salt : {true, false}) {
    if (!with_salt) request.evidence.salt.reset();
    const Verdict verdict = check_bundle(request);
    ASSERT_THAT(verdict, IsAccepted());
    EXPECT_EQ(verdict.vehicle, VehicleProof::kAsserted);
    EXPECT_EQ(rebuilt_small(verdict), job.base);
  }
  request.evidence.salt = Bytes(kSaltSize, 9);
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kSaltWrong));
}

TEST(Revive, IsForRevisionZeroAlone) {
  const SmallJob job;
  SealRequest whole = job.request(1, edited_small(job.base, 9));
  whole.payload = PayloadKind::kFull;
  const auto sealed = seal(whole, {job.author}, job.trust);
  CheckRequest request = job.check_request(sealed->file, job.base);
  request.read.clear();
  request.revive = true;
  request.evidence.vehicle_reference = "blue estate";
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kReadMissing));
}

TEST(Revive, GivesRecordsWhereARawFileCouldNotHoldTheMemory) {
  const SmallJob job;
  SealRequest request = job.request(0, job.base);
  const Range unread{kFlash + 0x300, kFlash + 0x340};
  request.base.memories[0].known.remove(unread);
  request.result.memories[0].known.remove(unread);
  request.files = {{"", "s-record", 7, compute_sha256(view_of("both memories"))}};
  const auto records = seal(request, {job.author}, job.trust);
  ASSERT_THAT(records, IsOk());
  request.files.clear();
  const auto unnamed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(unnamed, IsOk());
  const auto revived = [&](const Bytes& bundle) {
    CheckRequest check = job.check_request(bundle, job.base);
    check.read.clear();
    check.revive = true;
    check.evidence.vehicle_reference = "blue estate";
    return check_bundle(check);
  };
  EXPECT_EQ(text_of(revived(records->file).files.at(0).bytes).substr(0, 2), "S0");
  const Verdict verdict = revived(unnamed->file);
  ASSERT_THAT(verdict, IsAccepted());
  const auto form = parse_form(verdict.files.at(0).bytes, "flash");
  ASSERT_THAT(form, IsOk());
  ASSERT_EQ(form->segments.size(), 2U);
  EXPECT_EQ(form->segments[1].address, unread.end);
  EXPECT_EQ(verdict.files.at(1).bytes, job.base.eeprom);
}

TEST(Cautions, SayWhatCannotBeKnown) {
  const SmallJob job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.statement.cautions = {"not for the road"};
  request.statement.expires = "2026-04-01T00:00:00Z";
  const auto sealed = seal(request, {job.author}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  std::vector<std::string> codes;
  for (const Caution& caution : job.check(sealed->file, job.base).cautions) codes.push_back(caution.code);
  EXPECT_EQ(codes,
            (std::vector<std::string>{"root-not-confirmed", "newest-unknown", "map-draft", "trial", "shop"}));
}

TEST(Salt, IsSixtyFourDigitsInALine) {
  const std::string digits(64, 'a');
  for (const std::string& text : {digits, digits + "\n", digits + "\r\n"}) {
    EXPECT_THAT(parse_salt(view_of(text), "s"), IsOkAnd(Bytes(32, 0xaa)));
  }
  for (const std::string& text : {std::string(), digits + "aa", digits.substr(2), std::string(64, 'A'),
                                  digits + "\n\n", " " + digits}) {
    EXPECT_THAT(parse_salt(view_of(text), "s"), FailsWith(Reason::kSaltWrong)) << text;
  }
}

}  // namespace
}  // namespace calseal
