#include "calseal/bundle/entries.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

constexpr std::size_t kPayload = 3;

// The content of entry `index` as a reader takes it out, stored digests and framing already true.
Result<Bytes> content_of(const SampleBundle& sample, std::size_t index) {
  const Bytes file = assemble(sample);
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(file, "b"));
  CALSEAL_ASSIGN(const Framing framing, verify_framing(file, prefix, sample.manifest, "b"));
  CALSEAL_CHECK(verify_stored_digests(file, framing, sample.manifest, "b"));
  return read_content(file, framing, sample.manifest, index, "b");
}

// The sample with other stored bytes for the payload, all that describes them kept true.
SampleBundle with_stream(const Bytes& stream) {
  SampleBundle sample = make_sample_bundle();
  sample.stored[kPayload] = stream;
  sample.manifest.entries[kPayload].stored_size = stream.size();
  sample.manifest.entries[kPayload].stored_digest = compute_sha256(stream);
  return sample;
}

TEST(Entries, ContentsComeOutAsTheyWentIn) {
  for (const SampleBundle& sample : {make_sample_bundle(), make_sample_base()}) {
    for (std::size_t i = 0; i < sample.contents.size(); ++i) {
      EXPECT_THAT(content_of(sample, i), IsOkAnd(sample.contents[i])) << sample.manifest.entries[i].name;
    }
  }
}

TEST(Entries, ByName) {
  const SampleBundle sample = make_sample_bundle();
  const Bytes file = assemble(sample);
  const auto prefix = read_prefix(file, "b");
  ASSERT_THAT(prefix, IsOk());
  const auto framing = verify_framing(file, *prefix, sample.manifest, "b");
  ASSERT_THAT(framing, IsOk());
  EXPECT_THAT(read_content(file, *framing, sample.manifest, "attachments/note.txt", "b"),
              IsOkAnd(bytes_of("abc")));
  EXPECT_THAT(read_content(file, *framing, sample.manifest, "attachments/other.txt", "b"),
              FailsWith(Reason::kManifestInvalid));
}

TEST(Entries, StoredDigestNamesTheEntry) {
  SampleBundle sample = make_sample_bundle();
  sample.manifest.entries[4].stored_digest = digest_of("x");
  EXPECT_THAT(content_of(sample, 0), FailsWith(Reason::kStoredDigest, "attachments/log.txt"));
}

TEST(Entries, AnEmptyContentIsRead) {
  SampleBundle sample = make_sample_bundle();
  add_sample_entry(sample, "attachments/z", {});
  EXPECT_THAT(content_of(sample, 6), IsOkAnd(Bytes()));
}

TEST(Entries, StreamsThatDoNotFit) {
  const Bytes stream = make_sample_bundle().stored[kPayload];
  Bytes garbage_behind = stream;
  garbage_behind.push_back(0);
  Bytes cut = stream;
  cut.pop_back();
  EXPECT_THAT(content_of(with_stream(garbage_behind), kPayload),
              FailsWith(Reason::kContentDigest, "payload/engine/flash.bin"));
  EXPECT_THAT(content_of(with_stream(cut), kPayload), FailsWith(Reason::kContentDigest));
  EXPECT_THAT(content_of(with_stream({}), kPayload), FailsWith(Reason::kContentDigest));
  EXPECT_THAT(content_of(with_stream({0x03, 0x00}), kPayload),
              FailsWith(Reason::kContentDigest));  // no byte at all
  EXPECT_THAT(content_of(with_stream({0x07}), kPayload),
              FailsWith(Reason::kContentDigest));  // reserved block type
  EXPECT_THAT(content_of(with_stream(Bytes(10, 0xff)), kPayload), FailsWith(Reason::kContentDigest));
  EXPECT_THAT(content_of(with_stream(*from_hex("789c1314c40f948c5d4201")), kPayload),
              FailsWith(Reason::kContentDigest));  // zlib header
}

// One byte more or fewer than declared is refused, and no more than the declared size is ever produced.
TEST(Entries, TheDeclaredSizeIsExact) {
  for (const std::uint64_t size : {35U, 37U, 0U}) {
    SampleBundle sample = make_sample_bundle();
    sample.manifest.entries[kPayload].size = size;
    EXPECT_THAT(content_of(sample, kPayload), FailsWith(Reason::kContentDigest)) << size;
  }
}

TEST(Entries, CrcAndDigestOfTheContentAreBothProved) {
  SampleBundle crc = make_sample_bundle();
  crc.manifest.entries[kPayload].crc32 ^= 1;
  EXPECT_THAT(content_of(crc, kPayload), FailsWith(Reason::kContentDigest));
  SampleBundle digest = make_sample_bundle();
  digest.manifest.entries[kPayload].digest = digest_of("x");
  EXPECT_THAT(content_of(digest, kPayload), FailsWith(Reason::kContentDigest));
}

}  // namespace
}  // namespace calseal
