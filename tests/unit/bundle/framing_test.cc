#include "calseal/bundle/framing.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

// A minimal ZIP file as other software reads it: one stored entry a.txt holding "abc". APPNOTE.TXT
// sections 4.3.7, 4.3.12, 4.3.16. It sets the flag for UTF-8 names and calls itself made by version 1.0; ours
// sets no flag and says 2.0.
constexpr std::string_view kMinimalZip =
    "504b03040a000008000000002100c2412435030000000300000005000000612e747874616263504b01020a000a00000800000000"
    "2100c241243503"
    "00000003000000050000000000000000000000000000000000612e747874504b050600000000010001003300000026000000000"
    "0";

TEST(Framing, MinimalZip) {
  const Bytes content = bytes_of("abc");
  const Framing framing = compute_framing({{"a.txt", false, 3, 3, compute_entry_crc32(content)}}, 0);
  EXPECT_EQ(framing.total_size, 111U);
  Bytes file = local_header(framing.entries[0]);
  file.insert(file.end(), content.begin(), content.end());
  const Bytes directory = central_directory(framing);
  file.insert(file.end(), directory.begin(), directory.end());
  Bytes expected = *from_hex(kMinimalZip);
  EXPECT_EQ(digest_text(compute_sha256(expected)),
            "36147bd6f3d07c1cc6c0b400e402c91109ecaac8cd9e03cac06d92a5f92ad4f3");
  expected[7] = 0;        // flags, local header
  expected[38 + 4] = 20;  // made by
  expected[38 + 9] = 0;   // flags, central header
  EXPECT_EQ(file, expected);
}

TEST(Framing, LocalHeaderOfADeflatedEntry) {
  const FramedEntry entry{"ab", true, 0x01020304, 0x05060708, 0x090a0b0c};
  EXPECT_EQ(to_hex(local_header(entry)),
            "504b030414000000080000002100"
            "0c0b0a09"
            "04030201"
            "08070605"
            "0200"
            "0000"
            "6162");
}

TEST(Framing, Crc32IsThatOfZip) {
  EXPECT_EQ(compute_entry_crc32(bytes_of("123456789")), 0xcbf43926U);
  EXPECT_EQ(compute_entry_crc32({}), 0U);
}

TEST(Framing, AWholeBundleIsAsComputed) {
  for (const SampleBundle& sample : {make_sample_bundle(), make_sample_base()}) {
    const Bytes file = assemble(sample);
    const auto prefix = read_prefix(file, "b");
    ASSERT_THAT(prefix, IsOk());
    const auto framing = verify_framing(file, *prefix, sample.manifest, "b");
    ASSERT_THAT(framing, IsOk());
    EXPECT_EQ(framing->total_size, file.size());
    EXPECT_EQ(framing->first_listed, 3U);
    EXPECT_EQ(text_of(ByteView(file).subspan(framing->content_offset(framing->entries.size() - 1), 3)),
              "abc");
  }
}

TEST(Framing, OtherProgramsReadIt) {
  const ScratchFolder folder;
  const SampleBundle sample = make_sample_bundle();
  const std::string file = folder.put("sample.calseal", assemble(sample));
  EXPECT_EQ(run_tool("unzip -t " + file), 0);
  EXPECT_EQ(run_tool("python3 -m zipfile -t " + file), 0);
  ASSERT_EQ(run_tool("unzip -q " + file + " -d " + folder.path("out")), 0);
  EXPECT_EQ(folder.text("out/manifest.json"), write_manifest(sample.manifest));
  for (std::size_t i = 0; i < sample.contents.size(); ++i) {
    EXPECT_EQ(folder.text("out/" + sample.manifest.entries[i].name), text_of(sample.contents[i]));
  }
}

TEST(Framing, MissingAndAppendedBytes) {
  const SampleBundle sample = make_sample_bundle();
  Bytes file = assemble(sample);
  const auto prefix = read_prefix(file, "b");
  ASSERT_THAT(prefix, IsOk());
  EXPECT_THAT(verify_framing(ByteView(file).first(file.size() - 1), *prefix, sample.manifest, "b"),
              FailsWith(Reason::kFramingDamaged, "byte " + std::to_string(file.size() - 1)));
  const std::size_t size = file.size();
  file.push_back(0);
  const auto longer = read_prefix(file, "b");
  ASSERT_THAT(longer, IsOk());
  EXPECT_THAT(verify_framing(file, *longer, sample.manifest, "b"),
              FailsWith(Reason::kFramingDamaged, "byte " + std::to_string(size)));
}

}  // namespace
}  // namespace calseal
