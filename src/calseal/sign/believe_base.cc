#include "calseal/sign/believe_base.h"

namespace calseal {

Status believe_base(const Plan& plan, const Image& base, const std::vector<CheckOutcome>& checks) {
  Status status = believe_map(plan, base, checks);
  if (!status && status.error().reason == Reason::kMapNotBelieved) {
    status.error().next +=
        "; if it came so, keep it with --as-received, and let a known stock be the next base (calseal job "
        "carry "
        "--stock)";
  }
  return status;
}

}  // namespace calseal
