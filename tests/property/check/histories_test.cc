// Random histories of one controller: any revision read back, whatever it has learned since, becomes any
// other revision and keeps what it has learned. The images expected come from plain code.
#include <gtest/gtest.h>

#include "support/random.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

SmallImage random_edit(Random& random, SmallImage image, const SmallMap& map) {
  const auto scribble = [&](Bytes& bytes, std::size_t begin, std::size_t size) {
    for (std::uint64_t n = random.between(0, 6); n > 0; --n) {
      bytes[begin + random.between(0, size - 1)] = static_cast<std::uint8_t>(random.between(0, 255));
    }
  };
  scribble(image.flash, 0x40, 0x40);
  scribble(image.flash, 0x100, 0x40);
  scribble(image.eeprom, 0x30, 8);
  if (random.coin()) put(image.flash, 0x28, random.coin() ? "\x33\x44" : "\x11\x22");
  correct_small(image, map);
  return image;
}

SmallImage learned(SmallImage image, const Bytes& values, const SmallMap& map) {
  std::copy_n(values.begin(), 0x30, image.flash.begin() + 0x180);
  std::copy_n(values.begin() + 0x30, 0x20, image.eeprom.begin());
  correct_small(image, map);
  return image;
}

TEST(Histories, AnyRevisionBecomesAnyOther) {
  Random random;
  for (int round = 0; round < 6; ++round) {
    const SmallMap map{.sectors = random.coin(), .floating_reads_fuel = random.coin(), .binding = true};
    SmallJob job(map);
    job.base = learned(random_edit(random, job.base, map), random.bytes(0x50), map);
    std::vector<SmallImage> revisions{job.base};
    std::vector<Bytes> bundles;
    const auto first = job.seal_base();
    ASSERT_THAT(first, IsOk());
    bundles.push_back(first->file);
    for (std::uint64_t number = 1; number <= 4; ++number) {
      // A branch starts at any revision so far.
      const SmallImage parent = revisions[random.between(0, revisions.size() - 1)];
      revisions.push_back(random_edit(random, parent, map));
      SealRequest request = job.request(number, revisions.back());
      request.payload = random.coin() ? PayloadKind::kFull : PayloadKind::kAreas;
      const auto sealed = seal(request, {job.author}, job.trust);
      ASSERT_THAT(sealed, IsOk());
      bundles.push_back(sealed->file);
    }
    for (std::size_t from = 0; from < revisions.size(); ++from) {
      for (std::size_t to = 0; to < bundles.size(); ++to) {
        const Bytes values = random.bytes(0x50);
        const Verdict verdict = job.check(bundles[to], learned(revisions[from], values, map));
        ASSERT_THAT(verdict, IsAccepted()) << from << " to " << to;
        ASSERT_EQ(rebuilt_small(verdict), learned(revisions[to], values, map)) << from << " to " << to;
        ASSERT_EQ(verdict.vehicle, VehicleProof::kProved);
      }
    }
  }
}

// One random byte of a read changed: what comes out is the revision with the read's own learned values, or
// nothing.
TEST(Histories, AChangedByteIsOverwrittenKeptOrRefused) {
  Random random;
  const SmallMap map;
  const SmallJob job(map);
  const SmallImage result = random_edit(random, job.base, map);
  const auto sealed = job.seal_revision(1, result);
  ASSERT_THAT(sealed, IsOk());
  for (int round = 0; round < 300; ++round) {
    SmallImage read = job.base;
    const std::uint64_t at = random.between(0, read.flash.size() + read.eeprom.size() - 1);
    std::uint8_t& byte = at < read.flash.size() ? read.flash[at] : read.eeprom[at - read.flash.size()];
    byte = static_cast<std::uint8_t>(byte ^ random.between(1, 255));
    const Verdict verdict = job.check(sealed->file, read);
    if (verdict.outcome == Outcome::kRefused) {
      EXPECT_THAT(verdict.reason->reason,
                  ::testing::AnyOf(Reason::kReadForeign, Reason::kChangePatch, Reason::kVehicleMismatch))
          << at;
      continue;
    }
    SmallImage expected = result;
    std::copy_n(read.flash.begin() + 0x180, 0x30, expected.flash.begin() + 0x180);
    std::copy_n(read.eeprom.begin(), 0x20, expected.eeprom.begin());
    correct_small(expected, map);
    ASSERT_EQ(rebuilt_small(verdict), expected) << at;
  }
}

}  // namespace
}  // namespace calseal
