// A read that does not fit: the reason stays, and the words say what it most likely is.
#include "calseal/check/near_miss.h"

#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

using testing::HasSubstr;
using testing::Not;

struct NearMiss : testing::Test {
  SmallJob job;
  SealedBundle base = *job.seal_base();
  SealedBundle first = *job.seal_revision(1, edited_small(job.base, 9));

  Error refusal(const SmallImage& read, const SealedBundle& sealed) const {
    const Verdict verdict = job.check(sealed.file, read);
    EXPECT_EQ(verdict.outcome, Outcome::kRefused);
    return verdict.reason.value_or(Error{});
  }
  Error refusal(const SmallImage& read) const { return refusal(read, first); }

  Error refusal_of_files(std::vector<ReadFile> files) const {
    CheckRequest request = job.check_request(first.file, job.base);
    request.read = std::move(files);
    const Verdict verdict = check_bundle(request);
    EXPECT_EQ(verdict.outcome, Outcome::kRefused);
    return verdict.reason.value_or(Error{});
  }
};

TEST_F(NearMiss, OtherSoftwareOfTheSameFamily) {
  SmallImage read = job.base;
  put(read.flash, 0x008, "SJ-00002");
  for (std::size_t i = 0x200; i < 0x280; ++i) read.flash[i] = 0x11;
  for (const SealedBundle& sealed : {base, first}) {
    const Error error = refusal(read, sealed);
    EXPECT_EQ(error.reason, Reason::kReadForeign);
    EXPECT_THAT(error.found, HasSubstr("software is SJ-00002, not SJ-00001"));
    EXPECT_THAT(error.expected, HasSubstr("base 1 of job job-7"));
    EXPECT_THAT(error.next, HasSubstr("same family, other software"));
  }
}

TEST_F(NearMiss, OtherFamily) {
  SmallImage read = job.base;
  put(read.flash, 0x000, "LARGE");
  const Error error = refusal(read);
  EXPECT_EQ(error.reason, Reason::kReadForeign);
  EXPECT_THAT(error.found, HasSubstr("not recognised as small: 4c 41 52 47 45"));
  EXPECT_THAT(error.expected, HasSubstr("53 4d 41 4c 4c"));
  EXPECT_THAT(error.expected, HasSubstr("controller engine (region map small version 3)"));
  EXPECT_THAT(error.next, Not(HasSubstr("swapped")));
}

// A payload of areas tells the span; revision 0 carries the locked bytes too and tells the byte.
TEST_F(NearMiss, LockedBytesThatSomebodyElseChanged) {
  SmallImage read = job.base;
  read.flash[0x3f0] = 0x12;
  Error error = refusal(read);
  EXPECT_EQ(error.reason, Reason::kReadForeign);
  EXPECT_THAT(error.found, HasSubstr("the same software (software SJ-00001), but 1 of "));
  EXPECT_THAT(error.found, HasSubstr("bytes without a region"));
  EXPECT_THAT(error.found, HasSubstr("its calibration is that of the base"));
  EXPECT_THAT(error.found, HasSubstr("all its checksums hold"));
  EXPECT_THAT(error.next, HasSubstr("somebody else has changed locked bytes"));
  error = refusal(read, base);
  EXPECT_THAT(error.place, "flash 0x800003f0");
  EXPECT_THAT(error.found, HasSubstr("1 byte differs in locked places, the first at flash 0x800003f0"));
}

TEST_F(NearMiss, ADamagedReadIsToldByItsChecksums) {
  SmallImage read = edited_small(job.base, 9);
  read.flash[0x30] ^= 0x40U;  // code, under the sum of the head
  read.flash[0x12] ^= 0x01U;
  const Error error = refusal(read);
  EXPECT_EQ(error.reason, Reason::kReadForeign);
  EXPECT_THAT(error.found, HasSubstr("the part boot under the manufacturer's signature"));
  EXPECT_THAT(error.found, HasSubstr("already that of this revision"));
  EXPECT_THAT(error.found, HasSubstr("of its checksums head fails"));
  EXPECT_THAT(error.next, HasSubstr("read again"));
}

TEST_F(NearMiss, CalibrationOfAnotherRevisionIsNamed) {
  SmallImage read = edited_small(job.base, 33);
  read.flash[0x3f0] = 0x12;
  EXPECT_THAT(refusal(read).found, HasSubstr("neither that of the base nor of this revision"));
}

TEST_F(NearMiss, ErasedBytes) {
  SmallImage read = job.base;
  for (std::uint8_t& byte : read.flash) byte = 0xff;
  for (const SealedBundle& sealed : {base, first}) {
    const Error error = refusal(read, sealed);
    EXPECT_EQ(error.reason, Reason::kReadForeign);
    EXPECT_THAT(error.found, HasSubstr("erased bytes (all ff or all 00)"));
    EXPECT_THAT(error.next, HasSubstr("did not read these places"));
  }
}

TEST_F(NearMiss, AMemoryThatWasNotGiven) {
  const Error error = refusal_of_files({{"flash", "flash.bin", job.base.flash}});
  EXPECT_EQ(error.reason, Reason::kReadIncomplete);
  EXPECT_THAT(error.found, HasSubstr("nothing of memory eeprom"));
  EXPECT_THAT(error.next, HasSubstr("eeprom=FILE"));
}

TEST_F(NearMiss, ACalibrationOnlyReadInRecords) {
  const auto part = [&](std::size_t begin, std::size_t end) {
    return Segment{kFlash + begin, Bytes(job.base.flash.begin() + static_cast<std::ptrdiff_t>(begin),
                                         job.base.flash.begin() + static_cast<std::ptrdiff_t>(end))};
  };
  const std::string text = write_intel_hex({part(0x40, 0x142)});
  const Error error = refusal_of_files(
      {{"flash", "cal.hex", Bytes(text.begin(), text.end())}, {"eeprom", "eeprom.bin", job.base.eeprom}});
  EXPECT_EQ(error.reason, Reason::kReadIncomplete);
  EXPECT_THAT(error.found, HasSubstr("the calibration is there, the software around it is not"));
  EXPECT_THAT(error.next, HasSubstr("whole"));
  // All pinned bytes and the two binding fields are needed; this part holds none of the bindings.
  EXPECT_THAT(error.found, HasSubstr("it has 290 of 1,006 bytes"));
}

TEST_F(NearMiss, ACalibrationOnlyReadRaw) {
  // The editable bytes; the range around them; the erase sectors around that.
  for (const std::size_t size : {0x80UL, 0x100UL, 0x200UL}) {
    const Error error =
        refusal_of_files({{"flash", "cal.bin", Bytes(size, 0)}, {"eeprom", "eeprom.bin", job.base.eeprom}});
    EXPECT_EQ(error.reason, Reason::kImageSize);
    EXPECT_THAT(error.found, HasSubstr("as many as the calibration alone (0x80000040-0x8000013f)"));
    EXPECT_THAT(error.next, HasSubstr("read memory flash whole"));
  }
}

TEST_F(NearMiss, FilesOfOtherSizes) {
  Error error = refusal_of_files({{"flash", "cut.bin", Bytes(0x3ff, 0)}});
  EXPECT_EQ(error.reason, Reason::kImageSize);
  EXPECT_THAT(error.found, HasSubstr("only a part of the memory"));
  error = refusal_of_files({{"flash", "long.bin", Bytes(0x401, 0)}});
  EXPECT_THAT(error.next, HasSubstr("wrapped or padded"));
  EXPECT_THAT(error.expected, HasSubstr("1,024 bytes, for controller engine"));
  error = refusal_of_files({{"flash", "a.bin", job.base.eeprom}, {"eeprom", "b.bin", job.base.flash}});
  EXPECT_THAT(error.found, HasSubstr("as many as memory eeprom has"));
  EXPECT_THAT(error.next, HasSubstr("eeprom=FILE"));
}

TEST_F(NearMiss, AnotherVehicleSaysWhichFieldsAgree) {
  SmallImage read = job.base;
  read.flash[0x1d0] = '9';
  Error error = refusal(read);
  EXPECT_EQ(error.reason, Reason::kVehicleMismatch);
  EXPECT_THAT(error.found, HasSubstr("another vin (flash); the same serial (eeprom)"));
  EXPECT_THAT(error.next, HasSubstr("one of the files is from another vehicle"));
  for (std::size_t i = 0x20; i < 0x30; ++i) read.eeprom[i] = 0xff;
  error = refusal(read);
  EXPECT_THAT(error.found, HasSubstr("another vin (flash), serial (eeprom), which is blank in this read"));
  EXPECT_THAT(error.next, HasSubstr("comes from another vehicle"));
  EXPECT_THAT(error.found + error.next + error.expected, Not(HasSubstr("1M8GDM9AXKP04278")));
}

TEST_F(NearMiss, ACopyOfTheEditedFileOfAnotherVehicle) {
  SmallImage read = edited_small(job.base, 9);
  read.flash[0x1d0] = '9';
  EXPECT_THAT(refusal(read).found, HasSubstr("already that of this revision"));
}

// The same controller on a base of its own: the newest bundle tells which one the read belongs to.
TEST_F(NearMiss, AnotherBaseOfTheSameJob) {
  SmallJob updated;
  updated.base.flash[0x3f0] = 0x12;
  SealRequest request = updated.request(0, updated.base);
  request.statement.sequence = 5;
  const auto other = seal(request, {updated.author}, updated.trust);
  ASSERT_THAT(other, IsOk());
  Forgery forgery = take_apart(*other);
  forgery.manifest.base_number = 2;
  forgery.manifest.base_reason = "update";
  forgery.manifest.parent = first.digest;
  const Bytes second_base = put_together(forgery, {updated.author});
  // The bundle of base 2, the newest one that is laid beside it of base 1, and a read of base 1.
  CheckRequest old_read = job.check_request(second_base, job.base);
  old_read.newest = NamedBytes{"r1.calseal", first.file};
  const Verdict verdict = check_bundle(old_read);
  ASSERT_THAT(verdict, IsRefused(Reason::kReadForeign));
  EXPECT_THAT(verdict.reason->found, HasSubstr("the software of base 1 of this job"));
  EXPECT_THAT(verdict.reason->expected, HasSubstr("base 2 of job job-7"));
  EXPECT_THAT(verdict.reason->next, HasSubstr("from before the controller's update"));
}

// A second controller of the same vehicle: other recognition bytes, and a flash of `size` bytes.
SmallJob transmission_job(std::size_t size) {
  SmallJob job;
  std::string text = small_map_text();
  const auto replace = [&](std::string_view from, const std::string& to) {
    text.replace(text.find(from), from.size(), to);
  };
  replace("\"name\":\"small\",\"controller\":\"engine\"",
          "\"name\":\"gear\",\"controller\":\"transmission\"");
  replace("\"size\":1024", "\"size\":" + std::to_string(size));
  replace("534d414c4c", "4745415253");
  job.map = *parse_region_map(Bytes(text.begin(), text.end()), "gear.json");
  job.base.flash.resize(size, 0xff);
  put(job.base.flash, 0x000, "GEARS");
  put(job.base.flash, 0x008, "GJ-00001");
  correct_small(job.base);
  return job;
}

TEST_F(NearMiss, EngineAndTransmissionSwapped) {
  for (const std::size_t size : {std::size_t{0x400}, std::size_t{0x800}}) {
    const SmallJob gear = transmission_job(size);
    SealRequest engine_request = job.request(1, edited_small(job.base, 9));
    SealRequest gear_request = gear.request(1, edited_small(gear.base, 9));
    SetDescriptor set;
    set.job = "job-7";
    set.write_order = {"engine", "transmission"};
    for (SealRequest* request : {&engine_request, &gear_request}) {
      const auto alone = seal(*request, {job.author}, job.trust);
      ASSERT_THAT(alone, IsOk());
      const ManifestController& controller = alone->manifest.controller();
      set.members.push_back({controller.name, 1, 2, controller.map_digest, controller.pinned_after});
    }
    engine_request.statement.set = set;
    gear_request.statement.set = set;
    const auto engine = seal(engine_request, {job.author}, job.trust);
    const auto other = seal(gear_request, {job.author}, job.trust);
    ASSERT_THAT(engine, IsOk());
    ASSERT_THAT(other, IsOk());

    CheckRequest request = job.check_request(engine->file, job.base);
    request.partners = {{"gear.calseal", other->file}};
    EXPECT_THAT(check_bundle(request), IsAccepted());
    request.read = SmallJob::files_of(gear.base);
    Verdict verdict = check_bundle(request);
    ASSERT_THAT(verdict, IsRefused(size == 0x400 ? Reason::kReadForeign : Reason::kImageSize));
    EXPECT_THAT(verdict.reason->found,
                HasSubstr("a read of controller transmission, whose bundle is gear.calseal"));
    EXPECT_THAT(verdict.reason->expected,
                HasSubstr("a read of controller engine (region map small version 3)"));
    EXPECT_THAT(verdict.reason->next, HasSubstr("the reads are swapped"));

    // Of the same family, but not of the sealed base: only its recognition bytes tell.
    request.read[0].bytes[0x3f0] = 0x12;
    verdict = check_bundle(request);
    EXPECT_THAT(verdict.reason->found, HasSubstr("transmission, as far as its recognition bytes tell"));

    // Without the partner's bundle nobody knows its recognition bytes; the set names it all the same.
    if (size != 0x400) continue;
    request.partners.clear();
    request.bundle = job.seal_base()->file;
    EXPECT_THAT(check_bundle(request).reason->next, HasSubstr("another controller"));
    std::vector<Step> steps = all_steps();
    OpenContext context;
    context.trust = &job.trust;
    const auto opened = open_sealed(engine->file, "b", context, steps);
    ASSERT_THAT(opened, IsOk());
    const Image read = gear.image_of(gear.base);
    EXPECT_THAT(explain_foreign(*opened, read).next,
                HasSubstr("The set also has transmission: the reads may be swapped"));
  }
}

}  // namespace
}  // namespace calseal
