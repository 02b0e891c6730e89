// Files of the public interface, as the layers below take them.
#pragma once

#include <optional>
#include <vector>

#include "calseal/api/region_map.h"
#include "calseal/map/read.h"
#include "calseal/trust/succession.h"

namespace calseal::api {

std::vector<ReadFile> read_files(const std::vector<File>& files);
NamedBytes named(const File& file);
std::optional<NamedBytes> named(const std::optional<File>& file);
std::vector<NamedBytes> named(const std::vector<File>& files);
// Nothing when there is none; kSaltWrong.
Result<std::optional<Bytes>> salt_of(const std::optional<File>& file);

}  // namespace calseal::api
