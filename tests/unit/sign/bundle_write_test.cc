#include "calseal/sign/bundle_write.h"

#include <gtest/gtest.h>
#include <zlib.h>

#include "calseal/bundle/entries.h"
#include "calseal/sign/private_key.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/random.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

std::vector<ByteView> views_of(const std::vector<Bytes>& contents) {
  return {contents.begin(), contents.end()};
}

TEST(Deflate, InflatesBackWithAnotherReader) {
  Random random;
  for (const std::size_t size : {0U, 1U, 100U, 70000U}) {
    for (const bool noise : {false, true}) {
      const Bytes content = noise ? random.bytes(size) : Bytes(size, 0x5a);
      const auto stream = deflate_content(content);
      ASSERT_THAT(stream, IsOk());
      EXPECT_EQ(*stream, *deflate_content(content));
      Bytes back(size + 1);
      z_stream z{};
      ASSERT_EQ(inflateInit2(&z, -15), Z_OK);
      z.next_in = const_cast<Bytef*>(stream->data());
      z.avail_in = static_cast<uInt>(stream->size());
      z.next_out = back.data();
      z.avail_out = static_cast<uInt>(back.size());
      EXPECT_EQ(inflate(&z, Z_FINISH), Z_STREAM_END);
      EXPECT_EQ(z.avail_in, 0U);
      back.resize(z.total_out);
      inflateEnd(&z);
      EXPECT_EQ(back, content);
    }
  }
}

TEST(Packing, DeflatesOnlyWhereThatIsShorter) {
  Random random;
  const Bytes plain(1000, 7);
  const Bytes noise = random.bytes(1000);
  EXPECT_TRUE(pack_entry("a", plain, Packing::kSmallest)->entry.deflated);
  EXPECT_FALSE(pack_entry("a", plain, Packing::kStored)->entry.deflated);
  EXPECT_FALSE(pack_entry("a", noise, Packing::kSmallest)->entry.deflated);
  EXPECT_FALSE(pack_entry("a", {}, Packing::kSmallest)->entry.deflated);
  for (const Packing packing : {Packing::kStored, Packing::kSmallest}) {
    const auto packed = pack_entry("a", plain, packing);
    ASSERT_THAT(packed, IsOk());
    EXPECT_EQ(packed->entry.size, 1000U);
    EXPECT_EQ(packed->entry.digest, compute_sha256(plain));
    EXPECT_EQ(packed->entry.stored_size, packed->stored.size());
    EXPECT_EQ(packed->entry.stored_digest, compute_sha256(packed->stored));
    EXPECT_EQ(packed->entry.crc32, crc32(0, plain.data(), static_cast<uInt>(plain.size())));
  }
}

TEST(BundleWriting, GivesWhatTheFramingSays) {
  SampleBundle sample = make_sample_bundle();
  const Bytes expected = assemble(sample);
  std::swap(sample.signatures[0], sample.signatures[1]);
  EXPECT_THAT(write_bundle(sample.manifest, sample.signatures, views_of(sample.stored)), IsOkAnd(expected));
}

TEST(BundleWriting, PartsThatDoNotFitAreRefused) {
  const SampleBundle sample = make_sample_bundle();
  EXPECT_THAT(write_bundle(sample.manifest, {}, views_of(sample.stored)), FailsWith(Reason::kInternal));
  EXPECT_THAT(write_bundle(sample.manifest, std::vector<PrefixSignature>(2), views_of(sample.stored)),
              FailsWith(Reason::kInternal));
  EXPECT_THAT(write_bundle(sample.manifest, std::vector<PrefixSignature>(9), views_of(sample.stored)),
              FailsWith(Reason::kInternal));
  std::vector<Bytes> fewer = sample.stored;
  fewer.pop_back();
  EXPECT_THAT(write_bundle(sample.manifest, sample.signatures, views_of(fewer)),
              FailsWith(Reason::kInternal));
  std::vector<Bytes> other = sample.stored;
  other[3][0] ^= 1;
  EXPECT_THAT(write_bundle(sample.manifest, sample.signatures, views_of(other)),
              FailsWith(Reason::kInternal, "payload/engine/flash.bin"));
  SampleBundle large = sample;
  large.manifest.notes = std::string(kManifestSizeLimit, 'x');
  EXPECT_THAT(write_bundle(large.manifest, sample.signatures, views_of(sample.stored)),
              FailsWith(Reason::kBundleSize));
}

// The recipe of docs/bundle-format.md with general programs alone: take apart, compare digests, verify the
// signature.
TEST(BundleWriting, OtherProgramsVerifyIt) {
  const ScratchFolder folder;
  const auto in = [&](const std::string& name) { return folder.path(name); };
  SampleBundle sample = make_sample_bundle();
  const PrivateKey key = *PrivateKey::from_seed(Bytes(32, 2));
  const std::string text = write_manifest(sample.manifest);
  const auto signature = key.sign(view_of(text));
  ASSERT_THAT(signature, IsOk());
  const auto file = write_bundle(sample.manifest, {*signature}, views_of(sample.stored));
  ASSERT_THAT(file, IsOk());
  folder.put("b.calseal", *file);
  folder.put("author.pem", view_of(public_key_pem(key.public_key())));
  EXPECT_EQ(run_tool("unzip -t " + in("b.calseal")), 0);
  EXPECT_EQ(run_tool("python3 -m zipfile -t " + in("b.calseal")), 0);
  ASSERT_EQ(run_tool("unzip -q " + in("b.calseal") + " -d " + in("out")), 0);
  const std::string verify = "openssl pkeyutl -verify -rawin -pubin -inkey " + in("author.pem") + " -in " +
                             in("out/manifest.json") + " -sigfile " +
                             in("out/" + signature_entry_name(key.id()));
  EXPECT_EQ(run_tool(verify), 0);
  const std::string compare =
      "sh -c 'cd " + in("out") +
      R"( && python3 -c "import json; [print(e[\"digest\"] + \"  \" + e[\"name\"]) for e in json.load(open(\"manifest.json\"))[\"entries\"]]")" +
      " | sha256sum -c'";
  EXPECT_EQ(run_tool(compare), 0);
  ASSERT_EQ(
      run_tool("sh -c 'openssl pkey -pubin -in " + in("author.pem") + " -outform DER | sha256sum'", in("id")),
      0);
  EXPECT_EQ(folder.text("id").substr(0, 64), digest_text(key.id()));
  folder.put("out/attachments/note.txt", view_of("abd"));
  EXPECT_NE(run_tool(compare), 0);
  folder.put("out/manifest.json", view_of(text + " "));
  EXPECT_NE(run_tool(verify), 0);
}

}  // namespace
}  // namespace calseal
