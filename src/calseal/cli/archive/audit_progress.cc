#include "calseal/cli/archive/audit_progress.h"

#include <chrono>
#include <cstdio>

#include "calseal/base/text.h"

namespace calseal {
namespace {

std::string gigabytes(double bytes) {
  char text[32];
  std::snprintf(text, sizeof text, "%.1f", bytes / 1e9);
  return text;
}

std::string duration(double seconds) {
  const auto whole = static_cast<std::uint64_t>(seconds + 0.5);
  if (whole < 90) return std::to_string(whole) + " s";
  if (whole < 5400) return std::to_string((whole + 30) / 60) + " min";
  return std::to_string((whole + 1800) / 3600) + " h";
}

}  // namespace

std::string progress_text(const AuditProgress& progress, double seconds) {
  const auto done = static_cast<double>(progress.bytes_done);
  const auto all = static_cast<double>(progress.bytes);
  std::string text = grouped(progress.files_done) + " of " + grouped(progress.files) + " files, " +
                     gigabytes(done) + " of " + gigabytes(all) + " GB";
  if (seconds <= 0 || progress.bytes_done == 0) return text;
  const double rate = done / seconds;
  return text + ", " + gigabytes(rate) + " GB/s, " + duration((all - done) / rate) + " left";
}

std::function<void(const AuditProgress&)> audit_progress(Progress& line) {
  using Clock = std::chrono::steady_clock;
  return [&line, start = Clock::now()](const AuditProgress& progress) {
    line.at(progress_text(progress, std::chrono::duration<double>(Clock::now() - start).count()));
  };
}

}  // namespace calseal
