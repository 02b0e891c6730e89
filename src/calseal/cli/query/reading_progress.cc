#include "calseal/cli/query/reading_progress.h"

#include "calseal/base/text.h"

namespace calseal {

std::function<void(std::uint64_t, std::uint64_t)> reading_progress(Progress& progress) {
  return [&progress](std::uint64_t done, std::uint64_t all) {
    progress.at(grouped(done) + " of " + grouped(all) + " files");
  };
}

}  // namespace calseal
