#include "calseal/job/possible_time.h"

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::int64_t kClockTolerance = 86'400;  // seconds

}  // namespace

Status require_possible_time(const std::string& folder, UtcTime stated, const std::string& earliest,
                             const std::string& whose) {
  const std::string time = time_text(stated);
  const bool future = stated.seconds > current_time().seconds + kClockTolerance;
  if (!future && time >= earliest) return {};
  return fail({Reason::kJobOrder, printable(folder), "stated time", time,
               future ? "a time that is not in the future" : "not before " + earliest + ", which " + whose,
               "set this computer's clock, or state the right time"});
}

}  // namespace calseal
