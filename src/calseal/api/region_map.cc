#include "calseal/api/region_map.h"

#include "calseal/base/text.h"
#include "calseal/map/region_map.h"

namespace calseal::api {

Result<Map> Map::parse(const File& file) {
  CALSEAL_ASSIGN(RegionMap map, parse_region_map(file.bytes, printable(file.name)));
  return Map(std::make_shared<const RegionMap>(std::move(map)));
}

const std::string& Map::name() const { return inside_->name; }
std::uint64_t Map::version() const { return inside_->version; }
const std::string& Map::controller() const { return inside_->controller; }
const std::string& Map::grade() const { return inside_->grade(); }
const Sha256& Map::digest() const { return inside_->digest; }

}  // namespace calseal::api
