#include "calseal/cli/shop/passphrase.h"

#include <fcntl.h>
#include <termios.h>
#include <unistd.h>

#include <cstdlib>
#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/interrupt.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::uint64_t kPassphraseFileLimit = 4096;
constexpr std::size_t kLeastChosen = 8;  // bytes

Error missing() {
  return {Reason::kPassphraseMissing,
          "",
          "",
          "no passphrase, and no terminal to ask at",
          "a passphrase from --passphrase-file, CALSEAL_PASSPHRASE or a prompt",
          "give one of the three"};
}

// A terminal with echo off while this lives.
class SilentTerminal {
 public:
  SilentTerminal() : fd_(::isatty(STDIN_FILENO) == 1 ? ::open("/dev/tty", O_RDWR | O_CLOEXEC) : -1) {
    if (fd_ < 0 || ::tcgetattr(fd_, &old_) != 0) return;
    restore_.emplace(fd_, old_);
    termios silent = old_;
    silent.c_lflag &= ~static_cast<tcflag_t>(ECHO);
    ready_ = ::tcsetattr(fd_, TCSAFLUSH, &silent) == 0;
  }
  SilentTerminal(const SilentTerminal&) = delete;
  SilentTerminal& operator=(const SilentTerminal&) = delete;
  ~SilentTerminal() {
    if (ready_) ::tcsetattr(fd_, TCSAFLUSH, &old_);
    if (fd_ >= 0) ::close(fd_);
  }
  bool ready() const { return ready_; }

  std::string ask(const std::string& prompt) const {
    say(prompt);
    std::string answer;
    char c = 0;
    while (::read(fd_, &c, 1) == 1 && c != '\n') answer.push_back(c);
    say("\n");
    return answer;
  }

 private:
  void say(const std::string& text) const {
    if (::write(fd_, text.data(), text.size()) < 0)
      return;  // a prompt that cannot be shown is still waited on
  }
  int fd_;
  termios old_{};
  std::optional<TerminalToRestore> restore_;
  bool ready_ = false;
};

Result<std::string> given_passphrase(const std::string& file, const std::string& what, PassphraseUse use) {
  if (!file.empty()) {
    CALSEAL_ASSIGN(const Bytes bytes, read_file(file, kPassphraseFileLimit));
    std::string text(text_of(bytes));
    text = text.substr(0, text.find('\n'));
    if (text.ends_with('\r')) text.pop_back();
    if (text.empty()) return fail(missing());
    return text;
  }
  if (const char* text = std::getenv("CALSEAL_PASSPHRASE"); text != nullptr && *text != '\0')
    return std::string(text);
  const SilentTerminal terminal;
  if (!terminal.ready()) return fail(missing());
  const std::string first = terminal.ask("Passphrase for " + what + ": ");
  if (first.empty()) return fail(missing());
  if (use == PassphraseUse::kChoose && terminal.ask("The same again: ") != first) {
    return fail({Reason::kUsage, "", "passphrase", "two different passphrases", "the same twice",
                 "run the command again"});
  }
  return first;
}

}  // namespace

Result<std::string> obtain_passphrase(const std::string& file, const std::string& what, PassphraseUse use) {
  CALSEAL_ASSIGN(std::string given, given_passphrase(file, what, use));
  if (use != PassphraseUse::kChoose || given.size() >= kLeastChosen) return given;
  return fail({Reason::kUsage, printable(file), "passphrase", bytes_text(given.size()),
               "at least " + std::to_string(kLeastChosen) + " characters for " + what,
               "choose several words that nobody guesses"});
}

}  // namespace calseal
