// Files of a tree: all of them once, in one order, under names of any bytes, in shares that stay.
#include "calseal/archive/walk.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <set>

#include "calseal/archive/path_text.h"
#include "calseal/archive/survey.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/random.h"

namespace calseal {
namespace {

std::vector<std::string> paths_of(const Tree& tree) {
  std::vector<std::string> paths;
  for (const TreeFile& file : tree.files) paths.push_back(file.path);
  return paths;
}

class TreeOnDisk : public ::testing::Test {
 protected:
  void put(const std::string& path, const std::string& text) {
    std::filesystem::create_directories(std::filesystem::path(scratch.path(path)).parent_path());
    scratch.put(path, view_of(text));
  }
  ScratchFolder scratch;
};

using ListTree = TreeOnDisk;

TEST_F(ListTree, GivesEveryFileOnceAscendingByBytes) {
  for (const char* path : {"t/b", "t/a/z", "t/a.b", "t/A", "t/\xff\xfe", "t/a/b/c/d", "t/\xc3\xa4"})
    put(path, "x");
  const Result<Tree> tree = list_tree(scratch.path("t"));
  ASSERT_THAT(tree, IsOk());
  EXPECT_EQ(paths_of(*tree),
            (std::vector<std::string>{"A", "a.b", "a/b/c/d", "a/z", "b", "\xc3\xa4", "\xff\xfe"}));
}

TEST_F(ListTree, FollowsNoLinkAndTellsOfWhatIsNoFile) {
  put("t/file", "x");
  put("outside/secret", "x");
  std::filesystem::create_directory_symlink(scratch.path("outside"), scratch.path("t/away"));
  std::filesystem::create_directory_symlink(scratch.path("t"), scratch.path("t/loop"));
  std::filesystem::create_symlink("nowhere", scratch.path("t/dangling"));
  ASSERT_EQ(::mkfifo(scratch.path("t/pipe").c_str(), 0600), 0);
  const Result<Tree> tree = list_tree(scratch.path("t"));
  ASSERT_THAT(tree, IsOk());
  EXPECT_EQ(paths_of(*tree), std::vector<std::string>{"file"});
  EXPECT_EQ(tree->links, (std::vector<std::string>{"away", "dangling", "loop"}));
  EXPECT_EQ(tree->others, std::vector<std::string>{"pipe"});
  // The folder itself may be named through a link.
  std::filesystem::create_directory_symlink(scratch.path("t"), scratch.path("door"));
  const Result<Tree> through = list_tree(scratch.path("door"));
  ASSERT_THAT(through, IsOk());
  EXPECT_EQ(paths_of(*through), std::vector<std::string>{"file"});
}

TEST_F(ListTree, LeavesOutWhatCalsealKeepsForItself) {
  put("t/.calseal-aside/a", "x");
  put("t/deep/.calseal-index", "x");
  put("t/.calsealed", "x");
  const Result<Tree> tree = list_tree(scratch.path("t"));
  ASSERT_THAT(tree, IsOk());
  EXPECT_EQ(paths_of(*tree), std::vector<std::string>{".calsealed"});
}

TEST_F(ListTree, RefusesWhatIsNoFolder) {
  put("file", "x");
  EXPECT_THAT(list_tree(scratch.path("nothing")), FailsWith(Reason::kFileMissing));
  EXPECT_THAT(list_tree(scratch.path("file")), FailsWith(Reason::kFileUnreadable));
}

TEST_F(ListTree, LooksAtAFileAndAtNoLink) {
  put("file", "four");
  std::filesystem::create_symlink("file", scratch.path("link"));
  const auto there = look_at_file(scratch.path("file"));
  ASSERT_TRUE(there);
  EXPECT_EQ(there->size, 4);
  EXPECT_FALSE(look_at_file(scratch.path("link")));
  EXPECT_FALSE(look_at_file(scratch.path("nothing")));
  EXPECT_FALSE(look_at_file(scratch.path("")));
}

// The first eight bytes of `printf %s NAME | sha256sum`, as a number, modulo `of`, plus one. Whoever splits
// an audit over machines with different builds of calseal depends on these.
TEST(PartOfName, StaysAsItIs) {
  struct Row {
    const char* name;
    std::uint64_t of2, of3, of7, of64, of4096;
  };
  for (const Row& row :
       {Row{"", 1, 2, 2, 21, 3093}, Row{"base-1", 1, 2, 1, 17, 2833},
        Row{"job-0001/base-1", 2, 3, 4, 30, 1694}, Row{"job-0001/ledger/entries.jsonl", 2, 3, 3, 58, 2106},
        Row{"K\xc3\xa4"
            "fer/notes.txt",
            1, 3, 2, 57, 2745},
        Row{"a\n", 2, 1, 3, 50, 3378}, Row{"shop/2031/oak-17/base-12", 2, 2, 2, 18, 2066}}) {
    EXPECT_EQ(part_of_name(row.name, 1), 1u) << row.name;
    EXPECT_EQ(part_of_name(row.name, 2), row.of2) << row.name;
    EXPECT_EQ(part_of_name(row.name, 3), row.of3) << row.name;
    EXPECT_EQ(part_of_name(row.name, 7), row.of7) << row.name;
    EXPECT_EQ(part_of_name(row.name, 64), row.of64) << row.name;
    EXPECT_EQ(part_of_name(row.name, 4096), row.of4096) << row.name;
  }
}

TEST(PartOfName, SharesAlike) {
  std::vector<int> shares(9);
  for (int i = 0; i < 9000; ++i) ++shares.at(part_of_name("job-" + std::to_string(i), 8));
  EXPECT_EQ(shares[0], 0);
  for (std::size_t i = 1; i < shares.size(); ++i) {
    // 1,125 expected; six standard deviations are 188.
    EXPECT_GT(shares[i], 937);
    EXPECT_LT(shares[i], 1313);
  }
}

TEST(ShareName, KeepsTheBundlesOfABaseTogether) {
  SurveyedFile file;
  file.path = "oak/base-2/r1.calseal";
  EXPECT_EQ(file.share_name(), "oak/base-2/r1.calseal");
  file.hint = BundleHint{"oak-17", 2, 1, 9};
  EXPECT_EQ(file.share_name(), "oak/base-2\noak-17\n2");
  SurveyedFile other = file;
  other.path = "oak/base-2/r4.calseal";
  other.hint->revision = 4;
  EXPECT_EQ(other.share_name(), file.share_name());
  other.path = "r4.calseal";
  EXPECT_EQ(other.share_name(), "\noak-17\n2");
}

TEST(PathText, HoldsAnyBytesAndComesBack) {
  EXPECT_EQ(path_text("plain/name.txt"), "plain/name.txt");
  EXPECT_EQ(path_text("K\xc3\xa4"
                      "fer"),
            "K\xc3\xa4"
            "fer");
  EXPECT_EQ(path_text("50%"), "50%25");
  EXPECT_EQ(path_text("a\nb\x7f"), "a%0Ab%7F");
  EXPECT_EQ(path_text("\xc3\xa4\xff"), "%C3%A4%FF");
  Random random;
  for (int round = 0; round < 2000; ++round) {
    const Bytes bytes = random.bytes(random.between(0, 40));
    const std::string path(bytes.begin(), bytes.end());
    EXPECT_EQ(parse_path_text(path_text(path)), path);
  }
}

TEST(PathText, HasOneSpelling) {
  for (const char* text : {"%", "%2", "%2g", "%41", "a%0a", "%25%", "\n", "%C3%A4", "\xff"})
    EXPECT_EQ(parse_path_text(text), std::nullopt) << path_text(text);
}

TEST(Paths, FolderAndNameMakeThePath) {
  for (const char* path : {"a", "a/b", "a/b/c.d"}) EXPECT_EQ(join_path(folder_of(path), name_of(path)), path);
  EXPECT_EQ(folder_of("a"), "");
  EXPECT_EQ(name_of("a/b"), "b");
}

using SurveyArchive = TreeOnDisk;

TEST_F(SurveyArchive, NamesFilesByTheirFolderWhenThereAreSeveral) {
  put("one/notes.txt", "x");
  put("two/notes.txt", "xy");
  const auto alone = survey_archive({scratch.path("one") + "//"});
  ASSERT_THAT(alone, IsOk());
  ASSERT_EQ(alone->files.size(), 1u);
  EXPECT_EQ(alone->files[0].path, "notes.txt");
  EXPECT_EQ(alone->folders, std::vector<std::string>{scratch.path("one")});
  const auto both = survey_archive({scratch.path("two"), scratch.path("one")});
  ASSERT_THAT(both, IsOk());
  ASSERT_EQ(both->files.size(), 2u);
  EXPECT_EQ(both->files[0].path, scratch.path("one/notes.txt"));
  EXPECT_EQ(both->bytes(), 3u);
  EXPECT_NE(both->find(scratch.path("two/notes.txt")), nullptr);
  EXPECT_EQ(both->find("notes.txt"), nullptr);
}

TEST_F(SurveyArchive, RefusesFoldersThatOverlap) {
  put("one/in/notes.txt", "x");
  put("one-more/notes.txt", "x");
  for (const std::vector<std::string>& folders : {std::vector<std::string>{},
                                                  {scratch.path("one"), scratch.path("one")},
                                                  {scratch.path("one"), scratch.path("one/in")},
                                                  {scratch.path("one/in"), scratch.path("one/../one")}})
    EXPECT_THAT(survey_archive(folders), FailsWith(Reason::kUsage));
  EXPECT_THAT(survey_archive({scratch.path("one"), scratch.path("one-more")}), IsOk());
}

TEST_F(SurveyArchive, HasADigestOfPathsSizesAndKinds) {
  put("t/a", "one");
  put("t/b", "");
  const auto digest = [&] {
    const auto survey = survey_archive({scratch.path("t")});
    EXPECT_THAT(survey, IsOk());
    return survey ? survey->digest() : Sha256{};
  };
  const Sha256 first = digest();
  put("t/a", "two");
  EXPECT_EQ(digest(), first);  // contents are judged, not surveyed
  std::set<Sha256> seen{first};
  put("t/a", "three");
  EXPECT_TRUE(seen.insert(digest()).second);
  put("t/a", std::string(64, 'a'));
  put("t/b", std::string(63, 'a') + "!");
  EXPECT_TRUE(seen.insert(digest()).second);
  put("t/a", std::string(63, 'a') + "!");
  EXPECT_TRUE(seen.insert(digest()).second) << "another kind of the same size";
  std::filesystem::rename(scratch.path("t/b"), scratch.path("t/c"));
  EXPECT_TRUE(seen.insert(digest()).second);
}

}  // namespace
}  // namespace calseal
