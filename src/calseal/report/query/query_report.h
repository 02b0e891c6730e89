// Answers about an archive: what was found, what a loose file is.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/query/find.h"
#include "calseal/query/identify.h"
#include "calseal/report/layout/page.h"

namespace calseal {

std::string found_text(const Index& index, const std::vector<FoundRevision>& found, const Page& page);
// {"calseal":"find/1", ...}; docs/json-output.md.
JsonValue found_json(const Index& index, const std::vector<FoundRevision>& found);
JsonValue found_revision_json(const FoundRevision& found);

// What the index could not read, as lines; empty when there is nothing to say.
std::string index_remarks(const Index& index, const Page& page);

std::string identification_text(const Identification& result, const Page& page);
// {"calseal":"identify/1", ...}
JsonValue identification_json(const Identification& result);

}  // namespace calseal
