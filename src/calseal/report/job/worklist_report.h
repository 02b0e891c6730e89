// All jobs of a shop, and what each waits for: for people, for programs, and as a page.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/job/worklist.h"
#include "calseal/report/layout/page.h"

namespace calseal {

std::string worklist_text(const Worklist& list, const Page& page);
JsonValue worklist_json(const Worklist& list);  // {"calseal":"jobs/1", ...}
// The whole file. `tool`: program and version.
std::string worklist_html(const Worklist& list, const std::string& tool);

}  // namespace calseal
