// What a drafted or carried region map says about itself, for people and for programs.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/report/layout/page.h"
#include "calseal/study/map_draft.h"

namespace calseal {

// What was found, how sure it is, what is left, and what the image looks like.
std::string draft_text(const MapDraft& draft, const Page& page);
// docs/json-output.md, "regions-draft/1".
JsonValue draft_json(const MapDraft& draft);

}  // namespace calseal
