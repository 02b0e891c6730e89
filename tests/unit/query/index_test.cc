// The index beside an archive: built, kept up to date, thrown away when it is of no use, never the truth.
#include "calseal/query/index.h"

#include <gtest/gtest.h>

#include "calseal/base/file.h"
#include "calseal/query/find.h"
#include "support/bundle_shelf.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::chrono::milliseconds kShortWait{20};

class IndexFile : public ::testing::Test {
 protected:
  IndexFile() {
    for (const char* const path : {"oak/r0", "oak/r1", "elm/deep/er/r2", "loose.calseal"})
      shelf.put(path, drawn_bundle(random, words));
  }

  std::string file() const { return shelf.folder() + "/" + std::string(kIndexName); }
  Bytes bytes() const { return *read_file(file(), 1 << 24); }
  Result<Index> open(bool rebuild = false) const {
    return open_index(shelf.folder(), {rebuild, {}, kShortWait});
  }
  std::vector<std::string> paths(const Index& index) const {
    std::vector<std::string> paths;
    const auto found = find_revisions(index, {}, nullptr);
    EXPECT_THAT(found, IsOk());
    for (const FoundRevision& one : found.value_or(std::vector<FoundRevision>())) paths.push_back(one.file);
    std::ranges::sort(paths);
    return paths;
  }
  std::vector<std::string> shelved() const {
    std::vector<std::string> paths;
    for (const ShelvedBundle& one : shelf.bundles) paths.push_back(one.path);
    std::ranges::sort(paths);
    return paths;
  }
  // Whoever opens it gets what the files say, whatever stands there.
  void expect_made_anew(const std::string& what) const {
    const auto index = open();
    ASSERT_THAT(index, IsOk()) << what;
    EXPECT_TRUE(index->rebuilt) << what;
    EXPECT_TRUE(index->kept) << what;
    EXPECT_EQ(index->read, shelf.bundles.size()) << what;
    EXPECT_EQ(paths(*index), shelved()) << what;
    const auto again = open();
    ASSERT_THAT(again, IsOk()) << what;
    EXPECT_EQ(again->read, 0U) << what;
  }
  // As another program could.
  void alter(const std::string& sql) const {
    auto database = Database::open(file());
    ASSERT_THAT(database, IsOk());
    (*database)->run(sql);
    ASSERT_THAT((*database)->status(), IsOk()) << sql;
  }

  Random random;
  ShelfWords words;
  Shelf shelf;
};

TEST_F(IndexFile, IsBuiltOnceAndThenReadsNothing) {
  shelf.write("no-bundle.txt", view_of(std::string_view("words")));
  const auto first = open();
  ASSERT_THAT(first, IsOk());
  EXPECT_TRUE(first->rebuilt);
  EXPECT_TRUE(first->kept);
  EXPECT_EQ(first->read, 5U);  // looked at, of which four are bundles
  EXPECT_EQ(first->bundles, 4U);
  EXPECT_TRUE(first->unread.empty());
  EXPECT_EQ(paths(*first), shelved());
  const auto second = open();
  ASSERT_THAT(second, IsOk());
  EXPECT_FALSE(second->rebuilt);
  EXPECT_EQ(second->read, 0U);
  EXPECT_EQ(second->gone, 0U);
  EXPECT_EQ(second->bundles, 4U);
  EXPECT_EQ(second->built, first->built);
}

TEST_F(IndexFile, NoticesNewChangedAndGoneFiles) {
  ASSERT_THAT(open(), IsOk());
  shelf.put("new/one", drawn_bundle(random, words));
  shelf.take_away("oak/r0");
  const std::string changed = shelf.folder() + "/oak/r1";
  const auto time = std::filesystem::last_write_time(changed);
  Bytes bent = *read_file(changed, kBundleSizeLimit);
  bent[200] ^= 1;
  shelf.write("oak/r1", bent);
  std::filesystem::last_write_time(changed, time);  // of the same size, and as old as before
  const auto index = open();
  ASSERT_THAT(index, IsOk());
  EXPECT_FALSE(index->rebuilt);
  EXPECT_EQ(index->read, 2U);
  EXPECT_EQ(index->gone, 1U);
  ASSERT_EQ(index->unread.size(), 1U);
  EXPECT_EQ(index->unread[0].path, "oak/r1");
  EXPECT_EQ(index->unread[0].reason, code(Reason::kPrefixDamaged));
  EXPECT_EQ(paths(*index), (std::vector<std::string>{"elm/deep/er/r2", "loose.calseal", "new/one"}));
  // What could not be read is named again, without being read again.
  const auto again = open();
  ASSERT_THAT(again, IsOk());
  EXPECT_EQ(again->read, 0U);
  EXPECT_EQ(again->unread.size(), 1U);
}

TEST_F(IndexFile, IsBelievedUntilItIsRebuilt) {
  ASSERT_THAT(open(), IsOk());
  alter("DELETE FROM revisions WHERE file=(SELECT min(file) FROM revisions)");
  const auto bent = open();
  ASSERT_THAT(bent, IsOk());
  EXPECT_EQ(paths(*bent).size(), 3U);
  const auto index = open(true);
  ASSERT_THAT(index, IsOk());
  EXPECT_TRUE(index->rebuilt);
  EXPECT_EQ(index->read, 4U);
  EXPECT_EQ(paths(*index), shelved());
}

TEST_F(IndexFile, OfAnotherVersionIsMadeAnew) {
  ASSERT_THAT(open(), IsOk());
  alter("UPDATE built SET version=version+1");
  expect_made_anew("a later version");
  alter("UPDATE built SET version='none'");
  expect_made_anew("no number");
  alter("DELETE FROM built");
  expect_made_anew("no version");
  alter("ALTER TABLE revisions ADD COLUMN more TEXT");
  expect_made_anew("another layout");
  alter("DROP TABLE stock");
  expect_made_anew("a table less");
}

TEST_F(IndexFile, WithObjectsThatAreNotOursIsMadeAnew) {
  for (const char* const sql : {
           "CREATE TRIGGER t AFTER DELETE ON files BEGIN DELETE FROM revisions; END",
           "CREATE VIEW more AS SELECT * FROM revisions",
           "CREATE TABLE more(a)",
           "CREATE INDEX more ON files(abs(size))",
           "DROP TABLE options; CREATE VIEW options AS WITH RECURSIVE n(file) AS (SELECT 1 UNION ALL SELECT "
           "file+1 FROM n) SELECT file, 'launch' AS name FROM n",
       }) {
    ASSERT_THAT(open(), IsOk());
    alter(sql);
    expect_made_anew(sql);
  }
}

TEST_F(IndexFile, WithPathsThatAreNotInTheArchiveReadsNone) {
  ASSERT_THAT(open(), IsOk());
  alter("UPDATE files SET path=CAST('../../../etc/passwd' AS BLOB) WHERE file=1");
  const auto index = open();
  ASSERT_THAT(index, IsOk());
  EXPECT_EQ(index->gone, 1U);
  EXPECT_EQ(index->read, 1U);
  EXPECT_EQ(paths(*index), shelved());
}

TEST_F(IndexFile, WithCellsOfOtherKindsAnswersOrIsMadeAnew) {
  for (const char* const sql :
       {"UPDATE revisions SET identity=1, base=-5, revision='x', sequence=1e300, title=X'ff00'",
        "UPDATE spans SET first=9223372036854775807, past=-1, kind=77, after='short'",
        "UPDATE revisions SET job=CAST(zeroblob(100000) AS TEXT)", "UPDATE stock SET digest='x'"}) {
    ASSERT_THAT(open(true), IsOk());
    alter(sql);
    const auto index = open();
    ASSERT_THAT(index, IsOk()) << sql;
    EXPECT_EQ(paths(*index).size(), 4U) << sql;
  }
}

TEST_F(IndexFile, DamagedAnywhereIsMadeAnewOrAnswers) {
  ASSERT_THAT(open(), IsOk());
  const Bytes good = bytes();
  for (const std::size_t size : {std::size_t{0}, std::size_t{1}, std::size_t{16}, std::size_t{100},
                                 std::size_t{4095}, good.size() / 2, good.size() - 5000}) {
    shelf.write(std::string(kIndexName), ByteView(good).first(size));
    expect_made_anew("cut at " + std::to_string(size));
  }
  shelf.write(std::string(kIndexName), random.bytes(10000));
  expect_made_anew("noise");
  for (int i = 0; i < 12; ++i) {
    Bytes bent = good;
    const std::size_t at = random.between(0, bent.size() - 1);
    bent[at] = static_cast<std::uint8_t>(bent[at] ^ random.between(1, 255));
    shelf.write(std::string(kIndexName), bent);
    const auto index = open();
    ASSERT_THAT(index, IsOk()) << at;
    const auto found = find_revisions(*index, {}, nullptr);
    if (!found) {
      EXPECT_THAT(found, FailsWith(Reason::kFileUnreadable)) << at;
    }
    const auto rebuilt = open(true);
    ASSERT_THAT(rebuilt, IsOk()) << at;
    EXPECT_EQ(paths(*rebuilt), shelved()) << at;
  }
}

TEST_F(IndexFile, HeldByAnotherProgramIsReplacedAfterTheWait) {
  ASSERT_THAT(open(), IsOk());
  auto holder = Database::open(file());
  ASSERT_THAT(holder, IsOk());
  (*holder)->run("BEGIN EXCLUSIVE");
  ASSERT_THAT((*holder)->status(), IsOk());
  const auto index = open();
  ASSERT_THAT(index, IsOk());
  EXPECT_TRUE(index->rebuilt);
  EXPECT_EQ(paths(*index), shelved());
  (*holder)->run("COMMIT");  // undisturbed, on the file that it opened
  EXPECT_THAT((*holder)->status(), IsOk());
}

TEST_F(IndexFile, BesideReadersIsNotDisturbed) {
  ASSERT_THAT(open(), IsOk());
  auto reader = Database::open(file());
  ASSERT_THAT(reader, IsOk());
  (*reader)->run("BEGIN");
  Query rows(**reader, "SELECT file FROM files");
  ASSERT_TRUE(rows.step());
  const auto index = open();
  ASSERT_THAT(index, IsOk());
  EXPECT_FALSE(index->rebuilt);
  EXPECT_EQ(paths(*index), shelved());
}

TEST_F(IndexFile, ServesFromMemoryWhereNoFileCanBe) {
  std::filesystem::create_directory(file());
  shelf.write(std::string(kIndexName) + "/x", view_of(std::string_view("x")));
  for (int i = 0; i < 2; ++i) {
    const auto index = open();
    ASSERT_THAT(index, IsOk());
    EXPECT_FALSE(index->kept);
    EXPECT_TRUE(index->rebuilt);
    EXPECT_EQ(paths(*index), shelved());
  }
}

TEST_F(IndexFile, TellsHowFarItIs) {
  for (int i = 0; i < 130; ++i) shelf.write("junk" + std::to_string(i), view_of(std::string_view("x")));
  std::vector<std::uint64_t> done;
  ASSERT_THAT(open_index(shelf.folder(), {false,
                                          [&](std::uint64_t at, std::uint64_t all) {
                                            EXPECT_EQ(all, 134U);
                                            done.push_back(at);
                                          },
                                          kShortWait}),
              IsOk());
  EXPECT_EQ(done, (std::vector<std::uint64_t>{0, 64, 128}));
}

TEST_F(IndexFile, NeedsAFolder) {
  EXPECT_THAT(open_index(shelf.folder() + "/none", {}), FailsWith(Reason::kFileMissing));
  EXPECT_THAT(open_index(shelf.folder() + "/oak/r0", {}), FailsWith(Reason::kFileUnreadable));
}

}  // namespace
}  // namespace calseal
