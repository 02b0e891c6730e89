#include "calseal/cli/console/progress.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include "calseal/base/interrupt.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::chrono::milliseconds kQuiet{1000}, kEvery{250};
constexpr std::string_view kWipe = "\r\x1b[K";

void say(std::string_view text) {
  [[maybe_unused]] const ssize_t said = ::write(STDERR_FILENO, text.data(), text.size());
}

// A longer line would wrap, and could not be wiped.
std::size_t line_limit() {
  winsize size{};
  const bool known = ::ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 1;
  return known ? size.ws_col - std::size_t{1} : 79;
}

std::string cut(const std::string& text, std::size_t width) {
  std::size_t columns = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool begins = (static_cast<unsigned char>(text[i]) & 0xc0) != 0x80;
    if (begins && columns++ == width) return text.substr(0, i);
  }
  return text;
}

}  // namespace

Progress::Progress(const Console& console, std::size_t steps) : console_(console), steps_(steps) {
  if (::isatty(STDERR_FILENO) != 1) return;
  watcher_ = start_thread([this] { watch(); });
  console_.before_talk([this] { end(); });
}

Progress::~Progress() {
  end();
  console_.before_talk(nullptr);
}

void Progress::begin(std::string_view step) {
  const std::scoped_lock lock(mutex_);
  ++at_;
  step_ = printable(step, 100);
  far_.clear();
}

void Progress::at(std::string_view far) {
  if (!watcher_.joinable()) return;
  const std::scoped_lock lock(mutex_);
  far_ = printable(far, 100);
}

void Progress::end() {
  if (!watcher_.joinable()) return;
  {
    const std::scoped_lock lock(mutex_);
    ended_ = true;
  }
  ending_.notify_one();
  watcher_.join();
}

std::string Progress::line() const {
  const auto seconds =
      std::chrono::duration_cast<std::chrono::seconds>(std::chrono::steady_clock::now() - from_).count();
  std::string text = steps_ == 0 ? "" : std::to_string(at_) + " of " + std::to_string(steps_) + ": ";
  text += step_;
  if (!far_.empty()) text += ": " + far_;
  return cut(text + "  (" + std::to_string(seconds) + " s)", line_limit());
}

void Progress::watch() {
  std::unique_lock lock(mutex_);
  std::string shown;
  ending_.wait_for(lock, kQuiet, [this] { return ended_; });
  while (!ended_) {
    if (std::string now = line(); now != shown) {
      say(std::string(kWipe) + now);
      shown = std::move(now);
    }
    ending_.wait_for(lock, kEvery, [this] { return ended_; });
  }
  if (!shown.empty()) say(kWipe);
}

}  // namespace calseal
