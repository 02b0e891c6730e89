// Sets: revisions of several controllers that are only valid together.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"

namespace calseal {

// Whether every partner is of the bundle's own set and no other member is there twice (kSetMismatch), and
// whether all members are there (kSetIncomplete; not asked of a revision 0, nor with `whole` false). Fills
// `verdict.partners`, and tells order of writing and what to do when the second write fails as cautions.
Status judge_set(const OpenedBundle& opened, const std::vector<OpenedBundle>& partners, bool whole,
                 Verdict& verdict);

}  // namespace calseal
