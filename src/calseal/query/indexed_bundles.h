// The bundles behind the rows of an index.
#pragma once

#include <string>
#include <vector>

#include "calseal/check/open.h"
#include "calseal/query/index.h"

namespace calseal {

std::string path_of(const Index& index, std::int64_t file);  // within the archive

Result<OpenedBundle> open_bundle(const Index& index, std::int64_t file);

// Beginning and manifest alone, which tell as little of the contents as the index does.
Result<Manifest> read_manifest(const Index& index, std::int64_t file);

// Every region map of the index, of one bundle that opens for each.
std::vector<RegionMap> maps_of(const Index& index);

}  // namespace calseal
