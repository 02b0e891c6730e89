// Whole files in, whole files out; what happens on a full disk or a killed run is tested with the real
// programs in tests/cli/e2e.
#include "calseal/base/file.h"

#include <gmock/gmock.h>
#include <sys/stat.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "support/matchers.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

class Files : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = fs::temp_directory_path() / "calseal-file.XXXXXX";
    ASSERT_NE(::mkdtemp(name.data()), nullptr);
    folder_ = name;
  }
  void TearDown() override { fs::remove_all(folder_); }
  std::string at(const std::string& name) const { return folder_ / name; }
  void put(const std::string& name, const std::string& text) const { std::ofstream(at(name)) << text; }
  std::string get(const std::string& name) const {
    std::ifstream in(at(name));
    return {std::istreambuf_iterator<char>(in), {}};
  }
  std::size_t count() const {
    return static_cast<std::size_t>(std::distance(fs::directory_iterator(folder_), fs::directory_iterator()));
  }
  fs::path folder_;
};

TEST_F(Files, AreReadWholeOrRefused) {
  put("five", "12345");
  put("empty", "");
  EXPECT_THAT(read_file(at("five"), 5), IsOkAnd(::testing::SizeIs(5)));
  EXPECT_THAT(read_file(at("five"), 4), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(read_file(at("empty"), 5), FailsWith(Reason::kFileEmpty));
  EXPECT_THAT(read_file(at("none"), 5), FailsWith(Reason::kFileMissing));
  EXPECT_THAT(read_file(at("five/none"), 5), FailsWith(Reason::kFileMissing));
  EXPECT_THAT(read_file(folder_, 5), FailsWith(Reason::kFileUnreadable));
  EXPECT_THAT(read_file("/dev/zero", 5), FailsWith(Reason::kFileUnreadable));
}

TEST_F(Files, AreWrittenWhole) {
  put("old", "old");
  EXPECT_THAT(write_file(at("old"), view_of("new")), IsOk());
  EXPECT_EQ(get("old"), "new");
  EXPECT_THAT(write_file(at("old"), view_of("newer"), FileMode::kPublic, Existing::kRefuse),
              FailsWith(Reason::kOutputExists));
  EXPECT_EQ(get("old"), "new");
  EXPECT_THAT(write_file(at("key"), view_of("k"), FileMode::kPrivate, Existing::kRefuse), IsOk());
  struct stat status {};
  ASSERT_EQ(::stat(at("key").c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777U, 0600U);
  EXPECT_EQ(count(), 2U);  // nothing unfinished is left
}

// A link could lead anywhere, and a pipe or a disk is no place for an image.
TEST_F(Files, OnlyRegularOnesAreReplaced) {
  put("real", "old");
  ASSERT_EQ(::symlink(at("real").c_str(), at("link").c_str()), 0);
  ASSERT_EQ(::symlink(at("nowhere").c_str(), at("dangling").c_str()), 0);
  ASSERT_EQ(::mkfifo(at("pipe").c_str(), 0600), 0);
  const std::size_t before = count();
  for (const char* name : {"link", "dangling", "pipe"})
    EXPECT_THAT(write_file(at(name), view_of("new")), FailsWith(Reason::kOutputExists)) << name;
  EXPECT_THAT(write_file("/dev/null", view_of("new")), FailsWith(Reason::kOutputExists));
  EXPECT_EQ(get("real"), "old");
  EXPECT_EQ(count(), before);
  struct stat status {};
  ASSERT_EQ(::lstat(at("pipe").c_str(), &status), 0);
  EXPECT_TRUE(S_ISFIFO(status.st_mode));
}

TEST_F(Files, KeepTheModeOfWhatTheyReplace) {
  const auto mode_after = [&](const std::string& name, FileMode mode) {
    EXPECT_THAT(write_file(at(name), view_of("new"), mode), IsOk());
    struct stat status {};
    EXPECT_EQ(::stat(at(name).c_str(), &status), 0);
    return status.st_mode & 0777U;
  };
  EXPECT_EQ(mode_after("image", FileMode::kVehicle), 0600U);
  for (const mode_t mode : {0640U, 0604U}) {
    put("old", "old");
    ASSERT_EQ(::chmod(at("old").c_str(), mode), 0);
    EXPECT_EQ(mode_after("old", FileMode::kVehicle), mode);
    EXPECT_EQ(mode_after("old", FileMode::kPublic), mode);
    EXPECT_EQ(mode_after("old", FileMode::kPrivate), 0600U);
  }
}

TEST_F(Files, AreWrittenAllOrNone) {
  put("taken", "t");
  EXPECT_THAT(write_files({{at("a"), view_of("a")}, {at("no/b"), view_of("b")}}),
              FailsWith(Reason::kWriteFailed));
  EXPECT_THAT(write_files({{at("a"), view_of("a")},
                           {at("taken"), view_of("b"), FileMode::kPublic, Existing::kRefuse}}),
              FailsWith(Reason::kOutputExists));
  fs::create_directory(at("folder"));
  EXPECT_THAT(write_files({{at("a"), view_of("a")}, {at("folder"), view_of("b")}}),
              FailsWith(Reason::kWriteFailed));
  EXPECT_FALSE(fs::exists(at("a")));
  EXPECT_EQ(get("taken"), "t");
  EXPECT_EQ(count(), 2U);
}

TEST_F(Files, InputsAreNoOutputs) {
  put("in", "1");
  fs::create_hard_link(at("in"), at("link"));
  fs::create_symlink(at("in"), at("soft"));
  for (const char* name : {"in", "link", "soft"}) {
    EXPECT_THAT(refuse_clashes({at("new"), at(name)}, {at("other"), at("in")}),
                FailsWith(Reason::kOutputIsInput))
        << name;
  }
  EXPECT_THAT(refuse_clashes({at("new"), at("newer")}, {at("in")}), IsOk());
  EXPECT_THAT(refuse_clashes({at("new"), at("./new")}, {}), FailsWith(Reason::kUsage));
}

}  // namespace
}  // namespace calseal
