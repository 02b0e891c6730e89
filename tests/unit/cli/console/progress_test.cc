#include "calseal/cli/console/progress.h"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <pty.h>
#include <unistd.h>

#include <array>

namespace calseal {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

// Puts a terminal of `width` columns, or a pipe, in the place of stderr.
class OtherStderr {
 public:
  explicit OtherStderr(unsigned short width) {
    int end = -1;
    if (width != 0) {
      winsize size{24, width, 0, 0};
      EXPECT_EQ(::openpty(&from_, &end, nullptr, nullptr, &size), 0);
    } else {
      std::array<int, 2> ends{};
      EXPECT_EQ(::pipe(ends.data()), 0);
      from_ = ends[0];
      end = ends[1];
    }
    ::fcntl(from_, F_SETFL, O_NONBLOCK);
    kept_ = ::dup(STDERR_FILENO);
    ::dup2(end, STDERR_FILENO);
    ::close(end);
  }
  OtherStderr(const OtherStderr&) = delete;
  OtherStderr& operator=(const OtherStderr&) = delete;
  ~OtherStderr() {
    ::dup2(kept_, STDERR_FILENO);
    ::close(kept_);
    ::close(from_);
  }

  std::string said() {
    std::array<char, 4096> bytes{};
    const ssize_t count = ::read(from_, bytes.data(), bytes.size());
    return count > 0 ? std::string(bytes.data(), static_cast<std::size_t>(count)) : std::string();
  }

 private:
  int from_ = -1, kept_ = -1;
};

// All that is said until `words` are among it; a busy machine may take its time.
std::string said_until(OtherStderr& terminal, const std::string& words) {
  std::string all;
  for (int tenths = 0; tenths < 600 && all.find(words) == std::string::npos; ++tenths) {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    all += terminal.said();
  }
  return all;
}

void wait(int milliseconds) { std::this_thread::sleep_for(std::chrono::milliseconds(milliseconds)); }

constexpr const char* kWiped = "\r\x1b[K";

TEST(Progress, AShortCommandSaysNothing) {
  OtherStderr terminal(80);
  const Console console;
  {
    Progress progress(console, "reading");
    progress.at("7 files");
  }
  EXPECT_EQ(terminal.said(), "");
}

TEST(Progress, AfterASecondItSaysWhereItIsAndThenWipesItself) {
  OtherStderr terminal(80);
  const Console console;
  Progress progress(console, 3);
  progress.begin("reading");
  progress.begin("comparing");
  progress.at("12,000 entries");
  const std::string words = "2 of 3: comparing: 12,000 entries  (";
  EXPECT_THAT(said_until(terminal, words), HasSubstr(words));
  console.note("now for the result\n");
  const std::string result = "now for the result\r\n";
  EXPECT_THAT(said_until(terminal, result), HasSubstr(kWiped + result));
  progress.begin("too late");
  wait(400);
  EXPECT_EQ(terminal.said(), "");
}

TEST(Progress, ALineNeverWraps) {
  OtherStderr terminal(20);
  const Console console;
  Progress progress(console, "reading an archive with \xc3\xa4 in its name and many files");
  const std::string line = said_until(terminal, "reading an archive");
  EXPECT_THAT(line, HasSubstr(std::string(kWiped) + "reading an archive "));
  EXPECT_THAT(line, Not(HasSubstr("with")));
}

TEST(Progress, AFileOrAPipeGetsNothing) {
  OtherStderr pipe(0);
  const Console console;
  {
    Progress progress(console, "reading");
    wait(1300);
  }
  EXPECT_EQ(pipe.said(), "");
}

}  // namespace
}  // namespace calseal
