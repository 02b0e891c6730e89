#include "calseal/base/interrupt.h"

#include <unistd.h>

#include <array>
#include <atomic>
#include <cstring>
#include <string_view>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {
namespace {

// A signal handler may only touch fixed memory and make a few system calls, hence the plain table.
constexpr std::size_t kPathSize = 4096;
struct Slot {
  std::atomic<int> state{0};  // 0 free, 1 being filled, 2 in use
  char path[kPathSize];
};
std::array<Slot, 64> slots;

struct Terminal {
  std::atomic<bool> in_use{false};
  int fd = -1;
  termios settings{};
} terminal;

// 0: an interruption ends the run; 1: the next one is only noted; 2: it was.
std::atomic<int> noting{0};

constexpr int kSignals[] = {SIGINT, SIGTERM, SIGHUP};
constexpr std::string_view kNothing = "error: The run was interrupted; nothing was written. [interrupted]\n";
constexpr std::string_view kSomething =
    "error: The run was interrupted, but this was written before, and is whole: ";
constexpr std::string_view kAnother = ", ";
constexpr std::string_view kMore = " and more";
constexpr std::string_view kCode = ". [interrupted]\n";

// What was written: each path as the system takes it and as it is shown, both with a zero byte behind.
struct Written {
  std::atomic<std::size_t> size{0};
  std::atomic<bool> more{false};  // than there is room for
  char text[2 * kPathSize];
} written;

// There is nothing to do about a message that nobody can read.
void say(std::string_view text) {
  [[maybe_unused]] const ssize_t said = ::write(STDERR_FILENO, text.data(), text.size());
}

// What is no longer there was of use only on the way.
void say_what_was_written() {
  bool any = false;
  for (std::size_t at = 0; at < written.size.load();) {
    const std::string_view path = written.text + at;
    const std::string_view shown = written.text + at + path.size() + 1;
    at += path.size() + shown.size() + 2;
    if (::access(path.data(), F_OK) != 0) continue;
    say(any ? kAnother : kSomething);
    say(shown);
    any = true;
  }
  if (!any) return say(kNothing);
  if (written.more.load()) say(kMore);
  say(kCode);
}

sigset_t interrupting_signals() {
  sigset_t set;
  ::sigemptyset(&set);
  for (const int signal : kSignals) ::sigaddset(&set, signal);
  return set;
}

extern "C" void remove_and_leave(int /*signal*/) {
  int first = 1;
  if (noting.compare_exchange_strong(first, 2)) return;
  for (Slot& slot : slots) {
    if (slot.state.load() == 2) ::unlink(slot.path);
  }
  if (terminal.in_use.load()) ::tcsetattr(terminal.fd, TCSANOW, &terminal.settings);
  say_what_was_written();
  ::_exit(130);
}

}  // namespace

void install_interrupt_handler() {
  struct sigaction action {};
  action.sa_handler = remove_and_leave;
  action.sa_mask = interrupting_signals();
  for (const int signal : kSignals) {
    struct sigaction old {};
    if (::sigaction(signal, nullptr, &old) == 0 && old.sa_handler == SIG_IGN) continue;
    ::sigaction(signal, &action, nullptr);
  }
  // A file size limit is a write that fails, not a death that leaves litter.
  ::signal(SIGXFSZ, SIG_IGN);
}

Unfinished::Unfinished(const std::string& path) : slot_(-1) {
  if (path.size() >= kPathSize) return;
  for (std::size_t i = 0; i < slots.size(); ++i) {
    int free = 0;
    if (!slots[i].state.compare_exchange_strong(free, 1)) continue;
    std::memcpy(slots[i].path, path.c_str(), path.size() + 1);
    slots[i].state.store(2);
    slot_ = static_cast<int>(i);
    return;
  }
}

Unfinished::Unfinished(Unfinished&& other) noexcept : slot_(std::exchange(other.slot_, -1)) {}

Unfinished::~Unfinished() {
  if (slot_ >= 0) slots[static_cast<std::size_t>(slot_)].state.store(0);
}

void note_written(const std::string& path) {
  const std::string entry = path + '\0' + printable(path, kPathSize) + '\0';
  const std::size_t size = written.size.load();
  if (std::string_view(written.text, size).find(entry) != std::string_view::npos) return;
  if (size + entry.size() > sizeof written.text) return written.more.store(true);
  std::memcpy(written.text + size, entry.data(), entry.size());
  written.size.store(size + entry.size());
}

NoInterruption::NoInterruption() {
  const sigset_t set = interrupting_signals();
  ::pthread_sigmask(SIG_BLOCK, &set, &before_);
}

NoInterruption::~NoInterruption() { ::pthread_sigmask(SIG_SETMASK, &before_, nullptr); }

InterruptionAsked::InterruptionAsked() { noting.store(1); }

InterruptionAsked::~InterruptionAsked() { noting.store(0); }

bool InterruptionAsked::asked() const { return noting.load() == 2; }

TerminalToRestore::TerminalToRestore(int fd, const termios& settings) {
  terminal.fd = fd;
  terminal.settings = settings;
  terminal.in_use.store(true);
}

TerminalToRestore::~TerminalToRestore() { terminal.in_use.store(false); }

}  // namespace calseal
