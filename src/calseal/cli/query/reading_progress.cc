#include "calseal/cli/query/reading_progress.h"

#include <unistd.h>

#include <chrono>
#include <cstdio>

#include "calseal/base/text.h"

namespace calseal {

std::function<void(std::uint64_t, std::uint64_t)> reading_progress() {
  if (::isatty(STDERR_FILENO) != 1) return {};
  const auto start = std::chrono::steady_clock::now();
  return [start](std::uint64_t done, std::uint64_t all) {
    if (std::chrono::steady_clock::now() - start < std::chrono::seconds(1)) return;
    std::fprintf(stderr, "\rreading %s of %s files", grouped(done).c_str(), grouped(all).c_str());
    std::fprintf(stderr, done + 1 >= all ? "\n" : "");
    std::fflush(stderr);
  };
}

}  // namespace calseal
