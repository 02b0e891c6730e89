// What happened in a job, told in order: when, what, who says so, and what stands behind it.
#pragma once

#include <string>

#include "calseal/report/html/markup.h"
#include "calseal/report/job/job_page.h"

namespace calseal {

// "Revision 2, base 1, again".
std::string short_name(const Job& job, const JobRevision& revision);

// A table by time; what was noted later and dated earlier stands where its date puts it. Empty without
// events.
Html story_table(const JobView& view);

}  // namespace calseal
