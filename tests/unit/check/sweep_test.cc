// Every bit of a sealed bundle flipped, every length cut, every byte appended, and the whole checker run on
// it: nothing is accepted, and the reason is the one that the order of checks gives for that part of the
// file.
#include <gtest/gtest.h>

#include <cstdio>
#include <map>

#include "calseal/bundle/framing.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

#ifdef __SANITIZE_ADDRESS__
constexpr bool kSanitized = true;
#else
constexpr bool kSanitized = false;
#endif

// The smallest job that has something to edit, so that a sweep stays short: 64 bytes.
constexpr std::string_view kTinyMap =
    R"({"calseal":"region-map/1","name":"tiny","controller":"engine","version":1,)"
    R"("memories":[{"name":"flash","origin":"0x00000000","size":64}],)"
    R"("recognise":{"all":[{"memory":"flash","at":"0x00000000","bytes":"54494e59"}]},)"
    R"("regions":[{"name":"fuel","memory":"flash","start":"0x00000010","size":16,"policy":"editable"}],)"
    R"("evidence":{"author":"tests","verified_on":[],"guesses":[],"grade":"draft"}})";

class BundleSweep : public ::testing::TestWithParam<std::uint64_t> {
 protected:
  BundleSweep() {
    auto parsed = parse_region_map(Bytes(kTinyMap.begin(), kTinyMap.end()), "tiny.json");
    if (!parsed) throw std::runtime_error(parsed.error().place + parsed.error().found);
    map_ = *std::move(parsed);
    read_.assign(64, 0xff);
    put(read_, 0, "TINY");
    std::erase_if(job_.trust.keys, [&](const TrustedKey& key) { return key.id != job_.author.id(); });
    SealRequest request;
    request.map = &map_;
    request.statement.job = "j";
    request.statement.revision = GetParam();
    request.statement.sequence = GetParam() + 1;
    if (GetParam() != 0) request.statement.parent = compute_sha256(view_of("parent"));
    request.statement.vehicle_reference = "blue";
    request.statement.tool = "t";
    request.statement.claimed_time = job_.time;
    request.base = blank_image(map_);
    request.base.memories[0].bytes = read_;
    request.base.memories[0].known = RangeSet(request.base.memories[0].extent);
    request.result = request.base;
    if (GetParam() == 0) {
      request.files = {{"flash", "raw", read_.size(), compute_sha256(read_)}};
    } else {
      // Noise, which deflate cannot shorten.
      for (std::size_t i = 0; i < 16; ++i)
        request.result.memories[0].bytes[0x10 + i] = static_cast<std::uint8_t>(37 * i + 1);
    }
    auto sealed = seal(request, {job_.author}, job_.trust);
    if (!sealed) throw std::runtime_error(std::string(code(sealed.error().reason)) + sealed.error().found);
    file_ = sealed->file;
    manifest_ = sealed->manifest;
    const auto prefix = read_prefix(file_, "b");
    framing_ = *verify_framing(file_, *prefix, manifest_, "b");
    trust_ = job_.trust_file();
  }

  Verdict check(Bytes bundle) const {
    CheckRequest request;
    request.bundle_name = "b.calseal";
    request.bundle = std::move(bundle);
    request.trust_name = "shop.trust";
    request.trust = trust_;
    request.read = {{"", "read.bin", read_}};
    request.evidence.read_is_fresh = true;
    request.evidence.vehicle_reference = "blue";
    request.now = job_.time;
    return check_bundle(std::move(request));
  }

  bool in_header(std::size_t entry, std::size_t at) const {
    return at >= framing_.header_offsets[entry] && at < framing_.content_offset(entry);
  }
  bool in_content(std::size_t entry, std::size_t at) const {
    return at >= framing_.content_offset(entry) &&
           at < framing_.content_offset(entry) + framing_.entries[entry].stored_size;
  }

  // Region of the file that a byte belongs to, and the reason that any flipped bit in it gives.
  std::pair<std::string, Reason> expected(std::size_t at) const {
    if (in_header(0, at)) {
      const bool varies = at >= 14 && at < 26;
      return {varies ? "header of the manifest, sizes and CRC" : "header of the manifest, fixed bytes",
              varies ? Reason::kPrefixDamaged : Reason::kNotABundle};
    }
    // CRC-32 stands before the signature: damage is called damage.
    if (in_content(0, at)) return {"manifest", Reason::kPrefixDamaged};
    if (in_content(1, at)) return {"signature", Reason::kPrefixDamaged};
    if (in_header(1, at)) {
      const std::size_t from = at - framing_.header_offsets[1];
      if (from < 4 || (from >= 30 && from < 41))
        return {"header of the signature, mark and folder", Reason::kSignatureMissing};
      return {"header of the signature, rest", Reason::kPrefixDamaged};
    }
    for (std::size_t i = 2; i < framing_.entries.size(); ++i) {
      if (in_content(i, at)) return {"stored bytes of entries", Reason::kStoredDigest};
      if (in_header(i, at)) return {"headers of entries", Reason::kFramingDamaged};
    }
    return {"central directory and end", Reason::kFramingDamaged};
  }

  SmallJob job_;
  RegionMap map_;
  Bytes read_, file_, trust_;
  Manifest manifest_;
  Framing framing_;
};

TEST_P(BundleSweep, IsAcceptedAsItIs) {
  EXPECT_THAT(check(file_), IsAccepted());
  const bool deflated = std::ranges::any_of(
      manifest_.entries, [](const ManifestEntry& e) { return e.deflated && e.name.starts_with("payload/"); });
  EXPECT_EQ(deflated, GetParam() == 0) << "revision 0 is here for its deflated full image";
  EXPECT_EQ(manifest_.controller().payload_kind == PayloadKind::kFull, GetParam() == 0);
}

TEST_P(BundleSweep, EveryBitFlipIsRefused) {
  std::map<std::pair<std::string, std::string>, std::size_t> coverage;
  std::size_t flips = 0;
  for (std::size_t at = 0; at < file_.size(); ++at) {
    const auto [region, reason] = expected(at);
    for (int bit = 0; bit < 8; ++bit) {
      // Sanitized builds take one bit of each byte of the manifest, where CRC-32 answers before anything is
      // parsed.
      if (kSanitized && in_content(0, at) && bit != static_cast<int>(at % 8)) continue;
      ++flips;
      Bytes bent = file_;
      bent[at] = static_cast<std::uint8_t>(bent[at] ^ (1 << bit));
      const Verdict verdict = check(std::move(bent));
      ASSERT_EQ(verdict.outcome, Outcome::kRefused) << "byte " << at << " bit " << bit;
      ASSERT_TRUE(verdict.files.empty());
      Reason wanted = reason;
      // A changed digit of the key id is another key, unless it is no digit any more.
      const bool key_digit =
          in_header(1, at) && at - framing_.header_offsets[1] >= 41 && at - framing_.header_offsets[1] < 105;
      const char now = static_cast<char>(file_[at] ^ (1 << bit));
      if (key_digit && ((now >= '0' && now <= '9') || (now >= 'a' && now <= 'f')))
        wanted = Reason::kSignerUnknown;
      ASSERT_EQ(code(verdict.reason->reason), code(wanted))
          << "byte " << at << " bit " << bit << ", " << region;
      ++coverage[{region, std::string(code(wanted))}];
    }
  }
  std::size_t total = 0;
  for (const auto& [key, count] : coverage) {
    std::printf("%8zu flips  %-42s %s\n", count, key.first.c_str(), key.second.c_str());
    total += count;
  }
  EXPECT_EQ(total, flips);
  if (!kSanitized) {
    EXPECT_EQ(total, file_.size() * 8);
  }
  EXPECT_EQ(coverage.size(), 10U);
}

TEST_P(BundleSweep, EveryTruncationIsRefused) {
  for (std::size_t size = 0; size < file_.size(); ++size) {
    const Verdict verdict = check(Bytes(file_.begin(), file_.begin() + static_cast<std::ptrdiff_t>(size)));
    Reason wanted = Reason::kFramingDamaged;
    if (size < kBundleSizeLeast) {
      wanted = Reason::kBundleSize;
    } else if (size < framing_.header_offsets[1]) {
      wanted = Reason::kPrefixDamaged;
    } else if (size < framing_.header_offsets[1] + 41) {
      wanted = Reason::kSignatureMissing;
    } else if (size < framing_.header_offsets[2]) {
      wanted = Reason::kPrefixDamaged;
    }
    ASSERT_THAT(verdict, IsRefused(wanted)) << size;
  }
}

TEST_P(BundleSweep, EveryAppendedByteIsRefused) {
  Bytes longer = file_;
  longer.push_back(0);
  for (int value = 0; value < 256; ++value) {
    longer.back() = static_cast<std::uint8_t>(value);
    ASSERT_THAT(check(longer), IsRefused(Reason::kFramingDamaged)) << value;
  }
}

// With the CRC-32 mended after the flip, damage becomes forgery, and the signature has to see it.
TEST_P(BundleSweep, EveryFlipInManifestAndSignatureWithAMendedCrcFailsTheSignature) {
  for (const std::size_t entry : {std::size_t{0}, std::size_t{1}}) {
    const std::size_t begin = framing_.content_offset(entry);
    const std::size_t size = framing_.entries[entry].stored_size;
    for (std::size_t at = begin; at < begin + size; ++at) {
      Bytes bent = file_;
      bent[at] = static_cast<std::uint8_t>(bent[at] ^ (1U << (at % 8)));
      small::put_little(bent, framing_.header_offsets[entry] + 14,
                        small::crc32(ByteView(bent).subspan(begin, size)), 4);
      ASSERT_THAT(check(std::move(bent)), IsRefused(Reason::kSignatureBad)) << at;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Revision, BundleSweep, ::testing::Values(0, 1));

}  // namespace
}  // namespace calseal
