// A region map's history, for people and for programs.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/report/layout/page.h"
#include "calseal/study/map_history.h"

namespace calseal {

std::string history_text(const RegionMapLibrary& library, const MapHistory& history, const Page& page);
JsonValue history_json(const RegionMapLibrary& library, const MapHistory& history);

}  // namespace calseal
