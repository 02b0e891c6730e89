// Ctrl-C without litter: unfinished files are removed, a silenced terminal speaks again, the message says
// what is there by then, and the process ends with 130.
#pragma once

#include <signal.h>
#include <termios.h>

#include <string>
#include <thread>
#include <utility>

namespace calseal {

// For SIGINT, SIGTERM and SIGHUP, where they are not ignored already (nohup). Programs call it once, first
// thing. The handler says so on stderr with the code of Reason::kInterrupted, and names what was written.
// From then on a passed file size limit (SIGXFSZ) is a failed write.
void install_interrupt_handler();

// A file that must not outlive an interruption, while this object lives. At most 64 at a time are remembered.
class Unfinished {
 public:
  explicit Unfinished(const std::string& path);
  Unfinished(Unfinished&& other) noexcept;
  Unfinished& operator=(Unfinished&&) = delete;
  ~Unfinished();

 private:
  int slot_;
};

// A file or folder that is complete, so that an interruption afterwards names it, as long as it is there.
// Called while no interruption is answered.
void note_written(const std::string& path);

// No interruption is answered by this thread while this lives; one that came meanwhile is answered when it
// goes. Where all other threads were begun by start_thread(), nobody answers it.
class NoInterruption {
 public:
  NoInterruption();
  NoInterruption(const NoInterruption&) = delete;
  NoInterruption& operator=(const NoInterruption&) = delete;
  ~NoInterruption();

 private:
  sigset_t before_;
};

// A thread that answers no interruption, so that the program's first one alone does. std::system_error when
// there is none to be had.
template <typename Work>
std::thread start_thread(Work work) {
  const NoInterruption starting;
  return std::thread(std::move(work));
}

// While this lives, the first interruption only sets a flag, so that a long search can end with what it has;
// the next one ends the run as ever. One at a time.
class InterruptionAsked {
 public:
  InterruptionAsked();
  InterruptionAsked(const InterruptionAsked&) = delete;
  InterruptionAsked& operator=(const InterruptionAsked&) = delete;
  ~InterruptionAsked();
  bool asked() const;
};

// A terminal whose settings an interruption puts back to `settings`, while this object lives. One at a time.
class TerminalToRestore {
 public:
  TerminalToRestore(int fd, const termios& settings);
  TerminalToRestore(const TerminalToRestore&) = delete;
  TerminalToRestore& operator=(const TerminalToRestore&) = delete;
  ~TerminalToRestore();
};

}  // namespace calseal
