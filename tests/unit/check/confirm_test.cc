// After the write: what was read back against what should be there, by images that plain code made.
#include "calseal/check/confirm.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "calseal/image/form.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

using testing::HasSubstr;
using testing::Not;

MATCHER_P(IsConfirmedBy, grade, std::string("is confirmed by ") + std::string(proof_grade_name(grade))) {
  if (arg.reason && result_listener->IsInterested()) PrintTo(*arg.reason, result_listener->stream());
  return arg.confirmed() && !arg.reason && arg.grade == grade;
}

MATCHER_P(Denies, reason, std::string("is refused with ") + std::string(code(reason))) {
  if (arg.reason && result_listener->IsInterested()) PrintTo(*arg.reason, result_listener->stream());
  return arg.reason && arg.reason->reason == reason && !arg.confirmed() && arg.grade == ProofGrade::kNone &&
         !arg.reason->file.empty() && !arg.reason->found.empty() && !arg.reason->expected.empty() &&
         !arg.reason->next.empty();
}

struct Confirm : testing::Test {
  SmallJob job;
  SmallImage result = edited_small(job.base, 9);
  SealedBundle base = *job.seal_base();
  SealedBundle first = *job.seal_revision(1, result);

  ConfirmRequest request(const SealedBundle& sealed) const {
    ConfirmRequest request;
    request.bundle_name = "b.calseal";
    request.bundle = sealed.file;
    request.trust_name = "shop.trust";
    request.trust = job.trust_file();
    request.evidence.salt = job.salt;
    return request;
  }
  Confirmation confirmed(const SmallImage& after) const { return confirmed(first, after); }
  Confirmation confirmed(const SealedBundle& sealed, const SmallImage& after) const {
    ConfirmRequest with = request(sealed);
    with.evidence.after = SmallJob::files_of(after);
    return confirm_bundle(with);
  }
  Confirmation confirmed(const SealedBundle& sealed, const SmallImage& after,
                         const SmallImage& before) const {
    ConfirmRequest with = request(sealed);
    with.evidence.after = SmallJob::files_of(after);
    with.evidence.before = SmallJob::files_of(before);
    return confirm_bundle(with);
  }
  SealedBundle full(const SmallImage& image) const {
    SealRequest whole = job.request(1, image);
    whole.payload = PayloadKind::kFull;
    return *seal(whole, {job.author}, job.trust);
  }
  Confirmation scanned(const SealedBundle& sealed, std::vector<ScanValue> scan, bool salt = true) const {
    ConfirmRequest with = request(sealed);
    with.evidence.scan = std::move(scan);
    if (!salt) with.evidence.salt.reset();
    return confirm_bundle(with);
  }
};

// Bytes in which two images differ, where a revision may change them.
std::uint64_t pinned_differences(const SmallImage& a, const SmallImage& b) {
  std::uint64_t count = 0;
  for (std::size_t i = 0; i < a.flash.size(); ++i) {
    const bool floating = i >= 0x180 && i < 0x1b2;
    count += !floating && a.flash[i] != b.flash[i] ? 1U : 0U;
  }
  for (std::size_t i = 0x20; i < a.eeprom.size(); ++i) count += a.eeprom[i] != b.eeprom[i] ? 1U : 0U;
  return count;
}

TEST_F(Confirm, WhatWasWrittenIsThere) {
  for (const SealedBundle& sealed : {first, full(result)}) {
    const Confirmation said = confirmed(sealed, result);
    ASSERT_THAT(said, IsConfirmedBy(ProofGrade::kBytes));
    EXPECT_EQ(said.vehicle, VehicleProof::kProved);
    EXPECT_EQ(said.bytes_compared, 0x400U - 0x30U - 2U - 0x11U + 0x10U);
    EXPECT_EQ(said.bytes_differing, 0U);
    EXPECT_EQ(said.bytes_changed, pinned_differences(job.base, result));
    EXPECT_EQ(said.bytes_arrived, said.bytes_changed);
    EXPECT_FALSE(said.first);
  }
  EXPECT_THAT(confirmed(base, job.base), IsConfirmedBy(ProofGrade::kBytes));
}

TEST_F(Confirm, LearnedValuesAreLeftAside) {
  for (const std::uint8_t learned : {std::uint8_t{1}, std::uint8_t{200}}) {
    EXPECT_THAT(confirmed(driven_small(result, learned)), IsConfirmedBy(ProofGrade::kBytes));
    EXPECT_THAT(confirmed(base, driven_small(job.base, learned)), IsConfirmedBy(ProofGrade::kBytes));
  }
}

TEST_F(Confirm, AFloatingCheckMustHoldInItself) {
  SmallImage after = driven_small(result, 5);
  after.flash[0x190] ^= 1U;
  const Confirmation said = confirmed(after);
  ASSERT_THAT(said, Denies(Reason::kChecksumFails));
  EXPECT_THAT(said.reason->next, HasSubstr("every byte of the revision is there"));
}

// Every bit outside of learned values and binding fields is looked at.
TEST_F(Confirm, EveryPinnedBitCounts) {
  const auto learned = [](std::size_t i) { return i >= 0x180 && i < 0x1b2; };
  for (const SealedBundle& sealed : {first, full(result)}) {
    // A full payload takes another path only where bytes are locked; every fifth byte shows that.
    const std::size_t step = sealed.digest == first.digest ? 1 : 5;
    for (std::size_t i = 0; i < result.flash.size(); i += step) {
      if (learned(i)) continue;
      SmallImage after = result;
      after.flash[i] ^= static_cast<std::uint8_t>(1U << (i % 8));
      const Confirmation said = confirmed(sealed, after);
      ASSERT_TRUE(said.reason) << i;
      if (i >= 0x1c0 && i < 0x1d1) {
        EXPECT_EQ(said.reason->reason, Reason::kVehicleMismatch) << i;
        continue;
      }
      EXPECT_NE(said.reason->reason, Reason::kConfirmOld) << i;
      if (said.reason->reason == Reason::kReadForeign) continue;
      ASSERT_TRUE(said.first) << i;
      EXPECT_EQ(said.first->place.memory, "flash");
      EXPECT_TRUE(said.first->place.range.contains(kFlash + i)) << i;
      if (said.first->exact) {
        EXPECT_EQ(said.first->place.range.size(), 1U) << i;
      }
      const bool carried = (i >= 0x40 && i < 0xc8) || (i >= 0x100 && i < 0x142);
      EXPECT_EQ(said.first->exact, carried || sealed.digest != first.digest) << i;
    }
    for (std::size_t i = 0x20; i < result.eeprom.size(); ++i) {
      SmallImage after = result;
      after.eeprom[i] ^= 0x10U;
      const Confirmation said = confirmed(sealed, after);
      ASSERT_TRUE(said.reason) << i;
      EXPECT_EQ(said.reason->reason, i < 0x30 ? Reason::kVehicleMismatch : Reason::kConfirmDiffers) << i;
    }
  }
}

TEST_F(Confirm, NothingWasWritten) {
  for (const SealedBundle& sealed : {first, full(result)}) {
    const Confirmation said = confirmed(sealed, driven_small(job.base, 3));
    ASSERT_THAT(said, Denies(Reason::kConfirmOld));
    EXPECT_EQ(said.bytes_arrived, 0U);
    EXPECT_EQ(said.bytes_changed, pinned_differences(job.base, result));
    EXPECT_EQ(said.reason->place, "flash 0x80000044 in region fuel");
  }
}

// Another revision was there before: only the read from before can tell that it still is.
TEST_F(Confirm, AnEarlierRevisionIsStillThere) {
  const SmallImage earlier = edited_small(job.base, 33);
  Confirmation said = confirmed(earlier);
  ASSERT_THAT(said, Denies(Reason::kConfirmDiffers));
  EXPECT_THAT(said.reason->next, HasSubstr("--before"));
  EXPECT_THAT(said.reason->found, HasSubstr("neither that of the base nor of this revision"));
  said = confirmed(first, driven_small(earlier, 8), earlier);
  ASSERT_THAT(said, Denies(Reason::kConfirmOld));
  EXPECT_EQ(said.bytes_changed, pinned_differences(earlier, result));
  // The way back over it: the base as received.
  EXPECT_THAT(confirmed(base, earlier), Denies(Reason::kConfirmDiffers));
  EXPECT_THAT(confirmed(base, earlier, earlier), Denies(Reason::kConfirmOld));
  EXPECT_THAT(confirmed(base, job.base, earlier), IsConfirmedBy(ProofGrade::kBytes));
}

// Written up to each sector's edge, and no further.
TEST_F(Confirm, AWriteThatStopped) {
  SmallImage after = job.base;
  std::copy(result.flash.begin(), result.flash.begin() + 0x100, after.flash.begin());
  for (const bool before : {false, true}) {
    const Confirmation said = before ? confirmed(first, after, job.base) : confirmed(after);
    ASSERT_THAT(said, Denies(Reason::kConfirmPartial));
    EXPECT_EQ(said.bytes_changed, pinned_differences(job.base, result));
    EXPECT_EQ(said.bytes_arrived, pinned_differences(job.base, after));
    EXPECT_GT(said.bytes_arrived, 0U);
    EXPECT_THAT(
        said.reason->found,
        HasSubstr("everything before flash 0x80000110, in erase sector 0x80000100-0x800001ff is written and "
                  "nothing from there on"));
    EXPECT_EQ(said.reason->place, "flash 0x80000110 in region spark");
  }
}

TEST_F(Confirm, OneMemoryWasForgotten) {
  SmallImage after = result;
  after.eeprom = job.base.eeprom;
  const Confirmation said = confirmed(after);
  ASSERT_THAT(said, Denies(Reason::kConfirmPartial));
  EXPECT_EQ(said.reason->place, "eeprom 0x00000031 in region mark");
}

// In the middle of a region the base's digest no longer helps; the read from before does.
TEST_F(Confirm, AWriteThatStoppedInsideARegion) {
  SmallImage wide = job.base;
  for (std::size_t i = 0x40; i < 0x80; ++i) wide.flash[i] = static_cast<std::uint8_t>(wide.flash[i] + 1);
  correct_small(wide);
  const SealedBundle sealed = *job.seal_revision(1, wide);
  SmallImage after = job.base;
  std::copy(wide.flash.begin(), wide.flash.begin() + 0x60, after.flash.begin());
  EXPECT_THAT(confirmed(sealed, after), Denies(Reason::kConfirmDiffers));
  const Confirmation said = confirmed(sealed, after, job.base);
  ASSERT_THAT(said, Denies(Reason::kConfirmPartial));
  EXPECT_EQ(said.bytes_arrived, 0x20U);
  EXPECT_EQ(said.reason->place, "flash 0x80000060-0x8000007f in region fuel");
}

TEST_F(Confirm, ErasedAndNotWritten) {
  SmallImage after = result;
  for (std::size_t i = 0; i < 0x100; ++i) after.flash[i] = 0xff;
  const Confirmation said = confirmed(after);
  ASSERT_THAT(said, Denies(Reason::kConfirmPartial));
  EXPECT_THAT(said.reason->found, HasSubstr("erased and empty"));
  // A few bytes of ff are no erased sector.
  after = result;
  for (std::size_t i = 0x100; i < 0x110; ++i) after.flash[i] = 0xff;
  EXPECT_THAT(confirmed(after), Denies(Reason::kConfirmDiffers));
}

TEST_F(Confirm, ChecksumsFromBefore) {
  SmallImage after = result;
  std::copy(job.base.flash.begin() + 0x140, job.base.flash.begin() + 0x142, after.flash.begin() + 0x140);
  const Confirmation said = confirmed(after);
  ASSERT_THAT(said, Denies(Reason::kConfirmPartial));
  EXPECT_THAT(said.reason->found, HasSubstr("only the checksums are still those from before"));
}

TEST_F(Confirm, ReCorrectedByTheWriter) {
  SmallImage after = result;
  after.flash[0x140] = static_cast<std::uint8_t>(~after.flash[0x140]);
  after.flash[0x141] = static_cast<std::uint8_t>(~after.flash[0x141]);
  for (const SealedBundle& sealed : {first, full(result)}) {
    const Confirmation said = confirmed(sealed, after);
    ASSERT_THAT(said, Denies(Reason::kConfirmRecorrected));
    EXPECT_EQ(said.reason->place, "flash 0x80000140-0x80000141");
    EXPECT_THAT(said.reason->found, HasSubstr("by the region map they do not hold (spark"));
    EXPECT_THAT(said.reason->next, HasSubstr("switch its correction off"));
  }
  // A copy that was written otherwise is derived too; a calibration byte is not.
  after = result;
  after.flash[0x90] ^= 1U;
  EXPECT_THAT(confirmed(after), Denies(Reason::kConfirmRecorrected));
  after.flash[0x50] ^= 1U;
  EXPECT_THAT(confirmed(after), Denies(Reason::kConfirmDiffers));
}

TEST_F(Confirm, AnotherRevision) {
  SmallImage other = edited_small(job.base, 9);
  other.flash[0x60] ^= 0xffU;
  correct_small(other);
  const Confirmation said = confirmed(other);
  ASSERT_THAT(said, Denies(Reason::kConfirmDiffers));
  EXPECT_EQ(said.reason->place, "flash 0x80000060 in region fuel");
  EXPECT_EQ(said.first->kind, SpanKind::kEditable);
  EXPECT_EQ(said.first->found, hex_excerpt(ByteView(other.flash).subspan(0x60, 1)));
  EXPECT_EQ(said.first->expected, hex_excerpt(ByteView(result.flash).subspan(0x60, 1)));
}

TEST_F(Confirm, LockedBytesChangedByTheWriter) {
  SmallImage after = result;
  after.flash[0x3f0] = 0x12;
  Confirmation said = confirmed(after);
  ASSERT_THAT(said, Denies(Reason::kConfirmDiffers));
  EXPECT_FALSE(said.first->exact);
  // The read from before has the locked bytes, so it gives the exact place.
  said = confirmed(first, after, job.base);
  ASSERT_THAT(said, Denies(Reason::kConfirmDiffers));
  EXPECT_TRUE(said.first->exact);
  EXPECT_EQ(said.reason->place, "flash 0x800003f0");
}

TEST_F(Confirm, APatch) {
  SmallImage patched = result;
  put(patched.flash, 0x28, "\x33\x44");
  correct_small(patched);
  const SealedBundle sealed = *job.seal_revision(1, patched);
  EXPECT_THAT(confirmed(sealed, patched), IsConfirmedBy(ProofGrade::kBytes));
  EXPECT_THAT(confirmed(sealed, job.base), Denies(Reason::kConfirmOld));
  EXPECT_THAT(confirmed(sealed, result), Denies(Reason::kConfirmDiffers));
  EXPECT_THAT(confirmed(sealed, result, result), Denies(Reason::kConfirmOld));
}

TEST_F(Confirm, OtherSoftwareAndOtherVehicle) {
  SmallImage after = result;
  put(after.flash, 0x008, "SJ-00002");
  EXPECT_THAT(confirmed(after), Denies(Reason::kReadForeign));
  EXPECT_THAT(confirmed(full(result), after), Denies(Reason::kReadForeign));
  after = result;
  after.flash[0x1d0] = '9';
  EXPECT_THAT(confirmed(after), Denies(Reason::kVehicleMismatch));
  // Without the salt nothing compares the vehicle, and that is said.
  ConfirmRequest with = request(first);
  with.evidence.after = SmallJob::files_of(after);
  with.evidence.salt.reset();
  const Confirmation said = confirm_bundle(with);
  ASSERT_THAT(said, IsConfirmedBy(ProofGrade::kBytes));
  EXPECT_EQ(said.vehicle, VehicleProof::kNone);
  EXPECT_TRUE(
      std::ranges::any_of(said.cautions, [](const Caution& c) { return c.code == "vehicle-not-compared"; }));
  with.evidence.salt = Bytes(kSaltSize, 1);
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kSaltWrong));
}

TEST_F(Confirm, ReadsThatDoNotDo) {
  ConfirmRequest with = request(first);
  with.evidence.after = {{"flash", "flash.bin", result.flash}};
  Confirmation said = confirm_bundle(with);
  ASSERT_THAT(said, Denies(Reason::kReadIncomplete));
  EXPECT_THAT(said.reason->found, HasSubstr("nothing of memory eeprom"));
  with.evidence.after = {{"flash", "flash.bin", Bytes(0x100, 0)}};
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kImageSize));
  with.evidence.after = SmallJob::files_of(result);
  SmallImage foreign = job.base;
  put(foreign.flash, 0x008, "SJ-00002");
  with.evidence.before = SmallJob::files_of(foreign);
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kReadForeign));
  with.evidence.after.clear();
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kUsage));
}

TEST_F(Confirm, ABadSealComesFirst) {
  ConfirmRequest with = request(first);
  with.evidence.after = SmallJob::files_of(result);
  with.bundle[200] ^= 1U;
  Confirmation said = confirm_bundle(with);
  ASSERT_THAT(said, Denies(Reason::kPrefixDamaged));
  EXPECT_FALSE(said.manifest);
  with.bundle = put_together(take_apart(first), {job.stranger});
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kSignerUnknown));
}

// A payload that is not what its spans say is found before anything is compared with it.
TEST_F(Confirm, APayloadThatLies) {
  Forgery forgery = take_apart(first);
  forgery.content("payload/engine/flash.bin")[5] ^= 1U;
  ConfirmRequest with = request(first);
  with.bundle = put_together(forgery, {job.author});
  with.evidence.after = SmallJob::files_of(result);
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kClaimMismatch));
}

TEST_F(Confirm, NothingGivenProvesNothing) {
  const Confirmation said = confirm_bundle(request(first));
  EXPECT_FALSE(said.reason);
  EXPECT_FALSE(said.confirmed());
  EXPECT_EQ(said.grade, ProofGrade::kNone);
}

TEST_F(Confirm, ScanOfNames) {
  Confirmation said = scanned(first, {{"software", " SJ-00001 "}});
  ASSERT_THAT(said, IsConfirmedBy(ProofGrade::kIdentity));
  EXPECT_TRUE(
      std::ranges::any_of(said.cautions, [](const Caution& c) { return c.code == "same-before-and-after"; }));
  said =
      scanned(first, {{"software", "SJ-00001"}, {"mark", to_hex(ByteView(result.eeprom).subspan(0x30, 8))}});
  ASSERT_THAT(said, IsConfirmedBy(ProofGrade::kIdentity));
  EXPECT_TRUE(said.scan.at(1).tells_apart);
  EXPECT_TRUE(std::ranges::none_of(said.cautions,
                                   [](const Caution& c) { return c.code == "same-before-and-after"; }));
  said = scanned(first, {{"software", "SJ-00002"}});
  ASSERT_THAT(said, Denies(Reason::kScanMismatch));
  EXPECT_EQ(said.reason->place, "scan software");
  EXPECT_THAT(said.reason->next, ::testing::Not(HasSubstr("nothing was written"))) << "it never changes";
  said = scanned(first, {{"mark", to_hex(ByteView(job.base.eeprom).subspan(0x30, 8))}});
  ASSERT_THAT(said, Denies(Reason::kScanMismatch));
  EXPECT_THAT(said.reason->next, HasSubstr("nothing was written"));
}

TEST_F(Confirm, ScanOfTheVehicle) {
  const std::string serial = to_hex(ByteView(job.base.eeprom).subspan(0x20, 16));
  EXPECT_THAT(scanned(first, {{"vin", "1M8GDM9AXKP042788"}, {"serial", "0x" + serial}}),
              IsConfirmedBy(ProofGrade::kIdentity));
  Confirmation said = scanned(first, {{"vin", "1M8GDM9AXKP042789"}});
  ASSERT_THAT(said, Denies(Reason::kScanMismatch));
  EXPECT_THAT(said.reason->found + said.reason->expected + said.reason->next, Not(HasSubstr("1M8GDM9")));
  said = scanned(first, {{"vin", "1M8GDM9AXKP042788"}}, false);
  EXPECT_FALSE(said.reason);
  EXPECT_EQ(said.grade, ProofGrade::kNone);
  EXPECT_THAT(said.scan.at(0).why, HasSubstr("salt"));
}

TEST_F(Confirm, ScanThatIsWrongUsage) {
  EXPECT_THAT(scanned(first, {{"colour", "blue"}}), Denies(Reason::kUsage));
  EXPECT_THAT(scanned(first, {{"software", "SJ-00001"}, {"software", "SJ-00001"}}), Denies(Reason::kUsage));
  EXPECT_THAT(scanned(first, std::vector<ScanValue>(kScanLimit + 1, {"software", "x"})),
              Denies(Reason::kUsage));
  for (const char* bad : {"", "name", "=value", "name=", "name=  "})
    EXPECT_FALSE(parse_scan_argument(bad)) << bad;
  const auto good = parse_scan_argument("a=b=c");
  ASSERT_THAT(good, IsOk());
  EXPECT_EQ(good->name, "a");
  EXPECT_EQ(good->value, "b=c");
}

// Read and scan together: the bytes are the proof, and a scan that differs still denies it.
TEST_F(Confirm, ReadAndScan) {
  ConfirmRequest with = request(first);
  with.evidence.after = SmallJob::files_of(result);
  with.evidence.scan = {{"software", "SJ-00001"}};
  EXPECT_THAT(confirm_bundle(with), IsConfirmedBy(ProofGrade::kBytes));
  with.evidence.scan = {{"software", "SJ-00002"}};
  EXPECT_THAT(confirm_bundle(with), Denies(Reason::kScanMismatch));
}

// The checksum over fuel as an identity field of its own, in every encoding that a map may give it.
TEST(ConfirmNumber, VerificationNumber) {
  const auto number = [](ByteView b, bool big) {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < b.size(); ++i) value = value << 8 | b[big ? i : b.size() - 1 - i];
    return value;
  };
  for (const std::string encoding : {"hex", "integer-little", "integer-big"}) {
    SmallJob job;
    std::string text = small_map_text();
    const std::string field =
        R"({"name":"cvn","kind":"verification-number","memory":"flash","at":"0x800000c0","size":4,"encoding":")" +
        encoding + "\"},";
    text.insert(text.find("\"identity\":[") + 12, field);
    auto map = parse_region_map(Bytes(text.begin(), text.end()), "small.json");
    ASSERT_THAT(map, IsOk()) << encoding;
    job.map = *std::move(map);
    const SmallImage result = edited_small(job.base, 9);
    const auto sealed = job.seal_revision(1, result);
    const auto base = job.seal_base();
    ASSERT_THAT(sealed, IsOk());
    ASSERT_THAT(base, IsOk());
    const auto reported = [&](const SmallImage& image, bool prefix) {
      const ByteView bytes = ByteView(image.flash).subspan(0xc0, 4);
      if (encoding == "hex") return std::string(prefix ? "0x" : "") + to_hex(bytes);
      const std::string digits = hex_number(number(bytes, encoding == "integer-big"), 8);
      return prefix ? digits : digits.substr(2);
    };
    const auto scan = [&](const SealedBundle& bundle, std::string value) {
      ConfirmRequest request;
      request.bundle_name = "b.calseal";
      request.bundle = bundle.file;
      request.trust_name = "shop.trust";
      request.trust = job.trust_file();
      request.evidence.scan = {{"cvn", std::move(value)}};
      return confirm_bundle(request);
    };
    for (const bool prefix : {false, true}) {
      EXPECT_THAT(scan(*sealed, reported(result, prefix)), IsConfirmedBy(ProofGrade::kVerificationNumber))
          << encoding;
      EXPECT_THAT(scan(*base, reported(job.base, prefix)), IsConfirmedBy(ProofGrade::kVerificationNumber))
          << encoding;
      const Confirmation old = scan(*sealed, reported(job.base, prefix));
      ASSERT_THAT(old, Denies(Reason::kScanMismatch));
      EXPECT_THAT(old.reason->next, HasSubstr("nothing was written"));
    }
    if (encoding == "hex") {
      Bytes turned(result.flash.begin() + 0xc0, result.flash.begin() + 0xc4);
      std::ranges::reverse(turned);
      EXPECT_THAT(scan(*sealed, to_hex(turned)).reason->found, HasSubstr("bytes in the other order"));
      std::string upper = reported(result, false);
      std::ranges::transform(upper, upper.begin(), [](char c) { return static_cast<char>(std::toupper(c)); });
      upper.insert(2, " ");
      EXPECT_THAT(scan(*sealed, upper), IsConfirmedBy(ProofGrade::kVerificationNumber));
    }
    // A revision that leaves the number as it was cannot be told by it.
    SmallImage spark = job.base;
    spark.flash[0x110] ^= 1U;
    correct_small(spark);
    const auto same = job.seal_revision(1, spark);
    ASSERT_THAT(same, IsOk());
    EXPECT_THAT(scan(*same, reported(spark, true)), IsConfirmedBy(ProofGrade::kIdentity));
  }
}

}  // namespace
}  // namespace calseal
