// What a command is at, for a person who waits: one line on stderr, only on a terminal, only once a second
// has passed since the command began, and wiped when it is done.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <mutex>
#include <string>
#include <string_view>
#include <thread>

#include "calseal/cli/console/console.h"

namespace calseal {

class Progress {
 public:
  // `steps` is how many times begin() will be called, or 0 when nobody knows. Nothing may ask for a
  // passphrase while it is there.
  Progress(const Console& console, std::size_t steps);
  Progress(const Console& console, std::string_view only_step) : Progress(console, 0) { begin(only_step); }
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  // The next step, told by what it does; shown for as long as it takes, with the seconds since the beginning.
  void begin(std::string_view step);
  // How far the step is, "12,000 entries"; may be said as often as one likes.
  void at(std::string_view far);
  // Wipes the line. Done by the destructor, and before the console says anything.
  void end();

 private:
  void watch();
  std::string line() const;

  const Console& console_;
  const std::chrono::steady_clock::time_point from_ = std::chrono::steady_clock::now();
  const std::size_t steps_;
  std::size_t at_ = 0;
  std::string step_, far_;
  bool ended_ = false;
  std::mutex mutex_;  // of the four before it
  std::condition_variable ending_;
  std::thread watcher_;  // none where nobody looks
};

}  // namespace calseal
