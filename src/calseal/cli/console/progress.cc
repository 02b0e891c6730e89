#include "calseal/cli/console/progress.h"

#include <unistd.h>

#include <string>

#include "calseal/base/text.h"

namespace calseal {

Progress::Progress(const Console& console, std::size_t steps)
    : console_(console),
      from_(std::chrono::steady_clock::now()),
      steps_(steps),
      wanted_(::isatty(STDERR_FILENO) == 1) {}

Progress::~Progress() { end(); }

void Progress::begin(std::string_view step) {
  ++at_;
  if (!wanted_ || std::chrono::steady_clock::now() - from_ < std::chrono::seconds(1)) return;
  const std::string count = steps_ == 0 ? "" : std::to_string(at_) + " of " + std::to_string(steps_) + ": ";
  console_.note("\r\x1b[K" + count + printable(step, 100));
  shown_ = true;
}

void Progress::end() {
  if (shown_) console_.note("\r\x1b[K");
  shown_ = false;
}

}  // namespace calseal
