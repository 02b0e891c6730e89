// What an interruption says of what was written, in a process of its own.
#include "calseal/base/interrupt.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>

#include "calseal/base/file.h"
#include "support/matchers.h"

namespace calseal {
namespace {

class Interrupt : public testing::Test {
 protected:
  Interrupt() : folder_(testing::TempDir() + "interrupt-" + std::to_string(::getpid())) {
    std::filesystem::create_directory(folder_);
  }
  ~Interrupt() override { std::filesystem::remove_all(folder_); }

  std::string at(const std::string& name) const { return folder_ + "/" + name; }
  void write(const std::string& name) const { ASSERT_THAT(write_file(at(name), view_of("x")), IsOk()); }
  static void interrupt() {
    install_interrupt_handler();
    ::raise(SIGINT);
  }

 private:
  std::string folder_;
};

using InterruptDeathTest = Interrupt;

TEST_F(InterruptDeathTest, NothingWasWritten) {
  EXPECT_EXIT(interrupt(), testing::ExitedWithCode(130), "interrupted; nothing was written. .interrupted.");
}

TEST_F(InterruptDeathTest, EachFileIsNamedOnceAndOneThatIsGoneIsNot) {
  EXPECT_EXIT(
      {
        for (const char* name : {"one", "gone", "two", "one"}) write(name);
        ::unlink(at("gone").c_str());
        interrupt();
      },
      testing::ExitedWithCode(130), "is whole: " + at("one") + ", " + at("two") + "\\. .interrupted.");
}

TEST_F(InterruptDeathTest, WhatIsGoneAltogetherIsNothing) {
  EXPECT_EXIT(
      {
        write("gone");
        ::unlink(at("gone").c_str());
        interrupt();
      },
      testing::ExitedWithCode(130), "nothing was written");
}

}  // namespace
}  // namespace calseal
