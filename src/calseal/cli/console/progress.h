// What a command is at, for a person who waits: one line on stderr, only on a terminal, only once a second
// has passed since the command began, and wiped when it is done.
#pragma once

#include <chrono>
#include <cstddef>
#include <string_view>

#include "calseal/cli/console/console.h"

namespace calseal {

class Progress {
 public:
  // `steps` is how many times begin() will be called, or 0 when nobody knows.
  Progress(const Console& console, std::size_t steps);
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  // The next step, told by what it does.
  void begin(std::string_view step);
  // Wipes the line; results may be printed now. Done by the destructor too.
  void end();

 private:
  const Console& console_;
  std::chrono::steady_clock::time_point from_;
  std::size_t steps_, at_ = 0;
  bool wanted_, shown_ = false;
};

}  // namespace calseal
