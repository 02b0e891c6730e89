// SQLite behind values: what is bound stays a value, and the first failure is remembered.
#include "calseal/query/database.h"

#include <gtest/gtest.h>

#include <limits>

#include "support/matchers.h"
#include "support/outside_tools.h"

namespace calseal {
namespace {

TEST(DatabaseValues, ComeBackAsTheyWereBound) {
  const auto database = Database::open("");
  ASSERT_THAT(database, IsOk());
  (*database)->run("CREATE TABLE t(a, b, c, d)");
  const std::string text("'); DROP TABLE t; --\0x", 22);
  const Sha256 digest = compute_sha256(view_of(text));
  Query(**database, "INSERT INTO t VALUES(?,?,?,?)")
      .bind(text)
      .bind(std::int64_t{-7})
      .bind(digest)
      .bind(std::optional<Sha256>())
      .run();
  Query row(**database, "SELECT a, b, c, d, 'short' FROM t");
  ASSERT_TRUE(row.step());
  EXPECT_EQ(row.text(0), text);
  EXPECT_EQ(row.signed_number(1), -7);
  EXPECT_EQ(row.number(1), 0U);
  EXPECT_EQ(row.digest(2), digest);
  EXPECT_EQ(row.digest(3), std::nullopt);
  EXPECT_EQ(row.text(3), "");
  EXPECT_EQ(row.digest(4), std::nullopt);
  EXPECT_FALSE(row.step());
  EXPECT_THAT((*database)->status(), IsOk());
}

TEST(DatabaseValues, OneStatementServesAgainAfterReset) {
  const auto database = Database::open("");
  ASSERT_THAT(database, IsOk());
  Query sum(**database, "SELECT ?+?");
  for (const std::int64_t number : {1, 20}) {
    sum.bind(number).bind(number);
    ASSERT_TRUE(sum.step());
    EXPECT_EQ(sum.signed_number(0), 2 * number);
    sum.reset();
  }
}

TEST(DatabaseFailure, IsRememberedAndNothingElseIsRun) {
  const auto database = Database::open("");
  ASSERT_THAT(database, IsOk());
  (*database)->run("CREATE TABLE t(a)");
  (*database)->run("INSERT INTO none VALUES(1)");
  (*database)->run("INSERT INTO t VALUES(1)");
  Query row(**database, "SELECT a FROM t");
  EXPECT_FALSE(row.step());
  row.bind("nothing").run();
  EXPECT_THAT((*database)->status(), FailsWith(Reason::kFileUnreadable));
  EXPECT_FALSE((*database)->status().error().next.empty());
}

TEST(DatabaseFile, ThatIsALinkAFolderOrNoDatabaseIsRefused) {
  const ScratchFolder scratch;
  scratch.put("plain", view_of(std::string_view("no database at all, but long enough to look like one")));
  const auto plain = Database::open(scratch.path("plain"));
  if (plain) {
    (*plain)->run("SELECT * FROM sqlite_schema");
    EXPECT_THAT((*plain)->status(), FailsWith(Reason::kFileUnreadable));
  }
  std::filesystem::create_symlink(scratch.path("plain"), scratch.path("link"));
  EXPECT_THAT(Database::open(scratch.path("link")), FailsWith(Reason::kFileUnreadable));
  std::filesystem::create_directory(scratch.path("folder"));
  EXPECT_THAT(Database::open(scratch.path("folder")), FailsWith(Reason::kFileUnreadable));
}

TEST(DatabaseFile, RunsNoTriggersAndNoViewsAndTakesNoHugeValues) {
  const auto database = Database::open("");
  ASSERT_THAT(database, IsOk());
  (*database)->run("CREATE TABLE t(a); CREATE TABLE seen(a)");
  (*database)->run("CREATE TRIGGER r AFTER INSERT ON t BEGIN INSERT INTO seen VALUES(1); END");
  (*database)->run("INSERT INTO t VALUES(1)");
  {
    Query seen(**database, "SELECT count(*) FROM seen");
    ASSERT_TRUE(seen.step());
    EXPECT_EQ(seen.number(0), 0U);
  }
  Query huge(**database, "SELECT zeroblob(?)");
  huge.bind(std::int64_t{1} << 30);
  EXPECT_FALSE(huge.step());
  EXPECT_THAT((*database)->status(), FailsWith(Reason::kFileUnreadable));
  const auto other = Database::open("");
  ASSERT_THAT(other, IsOk());
  (*other)->run("CREATE VIEW v AS SELECT 1");
  (*other)->run("SELECT * FROM v");
  EXPECT_THAT((*other)->status(), FailsWith(Reason::kFileUnreadable));
  const auto third = Database::open("");
  ASSERT_THAT(third, IsOk());
  (*third)->run("ATTACH '/tmp/other' AS other");
  EXPECT_THAT((*third)->status(), FailsWith(Reason::kFileUnreadable));
}

}  // namespace
}  // namespace calseal
