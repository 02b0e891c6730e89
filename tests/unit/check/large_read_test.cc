// Reads that are large enough for their spans to be hashed on several threads: a wrong byte is found wherever
// it stands, and a right read is accepted every time.
#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/small_job.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSize = 2 << 20;
constexpr std::size_t kPatch = 0x40000, kFuel = 0x100000;

// Two locked spans around an editable region of 64 bytes; a permitted patch in the first one.
std::string map_text() {
  return R"({"calseal":"region-map/1","name":"large","controller":"engine","version":1,
"memories":[{"name":"flash","origin":"0x80000000","size":2097152}],
"recognise":{"all":[{"memory":"flash","at":"0x80000000","bytes":"4c41524745"}]},
"regions":[{"name":"fuel","memory":"flash","start":"0x80100000","size":64,"policy":"editable"}],
"permitted_patches":[{"name":"blink","memory":"flash","at":"0x80040000","before":"1122","after":"3344"}],
"checksums":[],
"evidence":{"author":"tests","verified_on":[],"guesses":[],"grade":"draft"}})";
}

class LargeRead : public ::testing::Test {
 protected:
  LargeRead() {
    const std::string text = map_text();
    auto parsed = parse_region_map(Bytes(text.begin(), text.end()), "large.json");
    if (!parsed) throw std::runtime_error(parsed.error().place + " " + parsed.error().found);
    map = *std::move(parsed);
    base.resize(kSize);
    for (std::size_t i = 0; i < kSize; ++i) base[i] = static_cast<std::uint8_t>(i * i / 31 + i / 257);
    put(base, 0, "LARGE");
    put(base, kPatch, "\x11\x22");
  }

  Bytes seal_of(const Bytes& result) const {
    SealRequest request = job.request(1, job.base);
    request.map = &map;
    request.base = image_of(base);
    request.result = image_of(result);
    const auto sealed = seal(request, {job.author}, job.trust);
    if (!sealed) throw std::runtime_error(sealed.error().place + " " + sealed.error().found);
    return sealed->file;
  }
  Image image_of(const Bytes& bytes) const {
    Image image = blank_image(map);
    image.memories[0].bytes = bytes;
    image.memories[0].known = RangeSet(image.memories[0].extent);
    return image;
  }
  Verdict check(const Bytes& bundle, const Bytes& read, const std::string& memory = "flash") const {
    CheckRequest request = job.check_request(bundle, job.base);
    request.read = {{memory, "flash.bin", read}};
    request.evidence.vehicle_reference = "blue estate";
    return check_bundle(std::move(request));
  }

  SmallJob job;
  RegionMap map;
  Bytes base;
};

TEST_F(LargeRead, IsAcceptedEveryTime) {
  Bytes result = base;
  put(result, kFuel + 5, "new");
  const Bytes bundle = seal_of(result);
  for (int round = 0; round < 20; ++round) {
    const Verdict verdict = check(bundle, base, round % 2 == 0 ? "flash" : "");
    ASSERT_EQ(verdict.outcome, Outcome::kAccepted) << verdict.reason->found;
    ASSERT_EQ(verdict.files.at(0).bytes, result);
    ASSERT_EQ(verdict.files.at(0).digest, compute_sha256(result));
  }
}

TEST_F(LargeRead, IsRefusedForOneWrongLockedByteAnywhere) {
  Bytes result = base;
  put(result, kFuel + 5, "new");
  const Bytes bundle = seal_of(result);
  for (const std::size_t at :
       {std::size_t{5}, std::size_t{64}, std::size_t{0xffff}, std::size_t{0x10000}, kPatch - 1, kPatch + 2,
        kFuel - 1, kFuel + 64, std::size_t{0x180000}, std::size_t{kSize - 1}}) {
    Bytes read = base;
    read[at] ^= 0x10;
    for (int round = 0; round < 3; ++round) {
      const Verdict verdict = check(bundle, read, round == 0 ? "" : "flash");
      ASSERT_EQ(verdict.outcome, Outcome::kRefused) << at;
      EXPECT_EQ(verdict.reason->reason, Reason::kReadForeign) << at;
    }
  }
}

TEST_F(LargeRead, MayHoldAPermittedPatchWholeOrNotAtAll) {
  Bytes plain = base;
  put(plain, kFuel + 5, "new");
  Bytes patched = plain;
  put(patched, kPatch, "\x33\x44");
  Bytes patched_read = base;
  put(patched_read, kPatch, "\x33\x44");
  Bytes half = base;
  put(half, kPatch, "\x33");
  const Bytes without = seal_of(plain), with = seal_of(patched);
  for (int round = 0; round < 5; ++round) {
    for (const auto& [bundle, result] : {std::pair(&without, &plain), std::pair(&with, &patched)}) {
      for (const Bytes* read : {&base, &patched_read}) {
        const Verdict verdict = check(*bundle, *read);
        ASSERT_EQ(verdict.outcome, Outcome::kAccepted) << verdict.reason->place << verdict.reason->found;
        EXPECT_EQ(verdict.files.at(0).bytes, *result);
      }
      EXPECT_EQ(check(*bundle, half).outcome, Outcome::kRefused);
    }
  }
}

TEST_F(LargeRead, OfAnotherSizeIsRefused) {
  const Bytes bundle = seal_of(base);
  EXPECT_EQ(check(bundle, Bytes(base.begin(), base.end() - 1)).outcome, Outcome::kRefused);
  Bytes longer = base;
  longer.push_back(0);
  EXPECT_EQ(check(bundle, longer, "").outcome, Outcome::kRefused);
}

}  // namespace
}  // namespace calseal
