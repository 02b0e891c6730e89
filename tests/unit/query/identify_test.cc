// Loose files against bundles that were really sealed, on the small invented job.
#include "calseal/query/identify.h"

#include <gtest/gtest.h>

#include <set>

#include "calseal/base/file.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/small_job.h"

namespace calseal {
namespace {

class LooseFile : public ::testing::Test {
 protected:
  LooseFile() {
    std::filesystem::create_directory(archive());
    put("r0.calseal", small.seal_base());
    put("r1.calseal", small.seal_revision(1, one));
    put("r2.calseal", small.seal_revision(2, edited_small(small.base, 9)));
  }

  std::string archive() const { return scratch.path("archive"); }
  void put(const std::string& name, const Result<SealedBundle>& sealed) const {
    if (!sealed) throw std::runtime_error(sealed.error().found);
    scratch.put("archive/" + name, sealed->file);
  }
  Identification identified(const Bytes& flash, const TrustFile* trust = nullptr) const {
    const auto index = open_index(archive(), {});
    if (!index) throw std::runtime_error(index.error().found);
    const auto result = identify(*index, scratch.put("loose.bin", flash), {}, trust);
    if (!result) throw std::runtime_error(result.error().found);
    return *result;
  }

  ScratchFolder scratch;
  SmallJob small;
  SmallImage one = edited_small(small.base, 5);
};

TEST_F(LooseFile, IsTheRevisionWhoseBytesItHas) {
  const Identification result = identified(one.flash, &small.trust);
  EXPECT_EQ(result.verdict, Likeness::kOurs);
  ASSERT_EQ(result.revisions.size(), 1U);
  EXPECT_EQ(result.revisions[0].revision.file, "r1.calseal");
  EXPECT_EQ(result.revisions[0].revision.seal, SealState::kHolds);
  EXPECT_FALSE(result.revisions[0].as_received);
  EXPECT_TRUE(identified(small.base.flash).revisions.at(0).as_received);
}

// One answer for each file, each with what is true of it alone.
TEST_F(LooseFile, IsFoundInEveryCopyOfOneRevision) {
  std::set<std::string> expected{"r1.calseal"};
  const Bytes bundle = *read_file(archive() + "/r1.calseal", kBundleSizeLimit);
  for (int i = 0; i < 60; ++i) {
    expected.insert("copy-" + std::to_string(i));
    scratch.put("archive/copy-" + std::to_string(i), bundle);
  }
  const Identification result = identified(one.flash, &small.trust);
  EXPECT_EQ(result.verdict, Likeness::kOurs);
  std::set<std::string> files;
  for (const IdentifiedRevision& revision : result.revisions) {
    files.insert(revision.revision.file);
    EXPECT_EQ(revision.revision.seal, SealState::kHolds);
  }
  EXPECT_EQ(files, expected);
  EXPECT_EQ(result.revisions.size(), expected.size());
}

TEST_F(LooseFile, ChangedSinceNamesThePlace) {
  SmallImage bent = one;
  const Range edited = [&] {
    for (std::size_t i = 0; i < bent.flash.size(); ++i) {
      if (bent.flash[i] != small.base.flash[i]) return Range{i, i + 1};
    }
    return Range{};
  }();
  ASSERT_EQ(edited.size(), 1U);
  bent.flash[edited.begin] = static_cast<std::uint8_t>(bent.flash[edited.begin] ^ 0x55);
  const Identification result = identified(bent.flash);
  EXPECT_EQ(result.verdict, Likeness::kChanged);
  std::uint64_t changed = 0;
  for (const LikenessRange& range : result.ranges)
    changed += range.likeness == Likeness::kChanged ? range.range.size() : 0;
  EXPECT_GE(changed, 1U);
}

TEST_F(LooseFile, OfNobodyOrNothing) {
  EXPECT_EQ(identified(Bytes(small.base.flash.size(), 0xff)).verdict, Likeness::kNotOurs);
  EXPECT_EQ(identified(Bytes(100000, 0)).verdict, Likeness::kCannotSay);
  std::filesystem::remove_all(archive());
  std::filesystem::create_directory(archive());
  EXPECT_EQ(identified(one.flash).verdict, Likeness::kCannotSay);
}

TEST_F(LooseFile, FindFileKnowsOneBundleByItsNumber) {
  const auto index = open_index(archive(), {});
  ASSERT_THAT(index, IsOk());
  std::set<std::string> files;
  for (std::int64_t number = 0; number < 10; ++number) {
    const auto found = find_file(*index, number, nullptr);
    ASSERT_THAT(found, IsOk());
    if (*found) files.insert((*found)->file);
  }
  EXPECT_EQ(files, (std::set<std::string>{"r0.calseal", "r1.calseal", "r2.calseal"}));
}

}  // namespace
}  // namespace calseal
