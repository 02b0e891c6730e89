#include "calseal/bundle/prefix.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

SampleBundle with_signatures(std::size_t count) {
  SampleBundle sample = make_sample_bundle();
  sample.signatures.clear();
  for (std::size_t i = 0; i < count; ++i) {
    PrefixSignature signature;
    signature.key_id.bytes.fill(static_cast<std::uint8_t>(i + 1));
    sample.signatures.push_back(signature);
  }
  return sample;
}

TEST(Prefix, HoldsManifestAndSignatures) {
  const SampleBundle sample = make_sample_bundle();
  const Bytes file = assemble(sample);
  const auto prefix = read_prefix(file, "b");
  ASSERT_THAT(prefix, IsOk());
  EXPECT_EQ(text_of(prefix->manifest), write_manifest(sample.manifest));
  EXPECT_EQ(prefix->signatures, sample.signatures);
  EXPECT_EQ(text_of(ByteView(file).subspan(prefix->end + 30, 19)), "regions/engine.json");
}

TEST(Prefix, LooksAtNothingBehindTheSignatures) {
  const Bytes file = assemble(make_sample_bundle());
  const auto prefix = read_prefix(file, "b");
  ASSERT_THAT(prefix, IsOk());
  Bytes bent = file;
  for (std::size_t i = prefix->end; i < bent.size(); ++i) bent[i] = 0xff;
  const auto again = read_prefix(bent, "b");
  ASSERT_THAT(again, IsOk());
  EXPECT_EQ(again->end, prefix->end);
}

TEST(Prefix, SizeIsJudgedFirst) {
  EXPECT_THAT(read_prefix({}, "b"), FailsWith(Reason::kBundleSize));
  const Bytes file = assemble(make_sample_bundle());
  EXPECT_THAT(read_prefix(ByteView(file).first(97), "b"), FailsWith(Reason::kBundleSize));
  EXPECT_THAT(read_prefix(ByteView(file).first(98), "b"), FailsWith(Reason::kPrefixDamaged));
}

TEST(Prefix, AnotherZipIsNotABundle) {
  SampleBundle sample = make_sample_bundle();
  Bytes file = assemble(sample);
  file[30] = 'M';
  EXPECT_THAT(read_prefix(file, "b"), FailsWith(Reason::kNotABundle, "byte 30"));
  EXPECT_THAT(read_prefix(Bytes(200, 0), "b"), FailsWith(Reason::kNotABundle, "byte 0"));
}

TEST(Prefix, FromOneToEightSignatures) {
  EXPECT_THAT(read_prefix(assemble(with_signatures(0)), "b"), FailsWith(Reason::kSignatureMissing));
  EXPECT_THAT(read_prefix(assemble(with_signatures(1)), "b"), IsOk());
  EXPECT_THAT(read_prefix(assemble(with_signatures(8)), "b"), IsOk());
  EXPECT_THAT(read_prefix(assemble(with_signatures(9)), "b"), FailsWith(Reason::kPrefixDamaged));
}

TEST(Prefix, SignaturesAreAscendingAndDifferent) {
  SampleBundle sample = with_signatures(2);
  std::swap(sample.signatures[0], sample.signatures[1]);
  EXPECT_THAT(read_prefix(assemble(sample), "b"), FailsWith(Reason::kPrefixDamaged));
  sample.signatures[0] = sample.signatures[1];
  EXPECT_THAT(read_prefix(assemble(sample), "b"), FailsWith(Reason::kPrefixDamaged));
}

TEST(Prefix, SignatureNamesAreLowerCaseHexadecimal) {
  const SampleBundle sample = make_sample_bundle();
  const Bytes file = assemble(sample);
  const std::string second = signature_entry_name(sample.signatures[1].key_id);
  const std::size_t at = text_of(file).find(second);
  ASSERT_NE(at, std::string_view::npos);
  Bytes upper = file;
  upper[at + 11] = 'E';
  EXPECT_THAT(read_prefix(upper, "b"), FailsWith(Reason::kPrefixDamaged));
  Bytes suffix = file;
  suffix[at + second.size() - 1] = 'h';
  EXPECT_THAT(read_prefix(suffix, "b"), FailsWith(Reason::kPrefixDamaged));
}

TEST(Prefix, ManifestLengthIsBounded) {
  Bytes file = assemble(make_sample_bundle());
  for (const std::uint32_t size :
       {0U, (1U << 20) + 1, 0xffffffffU, static_cast<std::uint32_t>(file.size())}) {
    for (int i = 0; i < 4; ++i) {
      file[static_cast<std::size_t>(18 + i)] = file[static_cast<std::size_t>(22 + i)] =
          static_cast<std::uint8_t>(size >> (8 * i));
    }
    EXPECT_THAT(read_prefix(file, "b"), FailsWith(Reason::kPrefixDamaged, "byte 18")) << size;
  }
}

TEST(Prefix, AManifestOfOneMebibyteIsRead) {
  for (const std::uint64_t size : {kManifestSizeLimit, kManifestSizeLimit + 1}) {
    const Bytes manifest(size, 'x');
    Framing framing = compute_framing(manifest, make_sample_bundle().signatures, Manifest());
    Bytes file = local_header(framing.entries[0]);
    file.insert(file.end(), manifest.begin(), manifest.end());
    for (std::size_t i = 1; i < 3; ++i) {
      const Bytes header = local_header(framing.entries[i]);
      file.insert(file.end(), header.begin(), header.end());
      file.insert(file.end(), 64, static_cast<std::uint8_t>(i == 1 ? 0x11 : 0xe1));
    }
    const auto prefix = read_prefix(file, "b");
    if (size == kManifestSizeLimit) {
      EXPECT_THAT(prefix, IsOk());
    } else {
      EXPECT_THAT(prefix, FailsWith(Reason::kPrefixDamaged));
    }
  }
}

}  // namespace
}  // namespace calseal
