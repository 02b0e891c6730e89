// An edit as it comes from the editor, laid over the base that it was made on.
#pragma once

#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/image/image.h"
#include "calseal/map/read.h"

namespace calseal {

// The image that a base bundle carries, in the memories of `map`, which may be newer than the bundle's own
// and know others.
Image base_image(const OpenedBundle& base, const RegionMap& map);

// The base with everything that the edited files give laid over it, so that memories nobody edited need not
// be given. Nothing is corrected. The reasons of load_read(), and kReadIncomplete when the edit holds bytes
// that the base does not.
Result<Image> lay_edit(const RegionMap& map, const Image& base, std::vector<ReadFile> files);

}  // namespace calseal
