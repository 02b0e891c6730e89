#include "calseal/query/indexed_bundles.h"

#include <set>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"

namespace calseal {

std::string path_of(const Index& index, std::int64_t file) {
  Query query(*index.database, "SELECT path FROM files WHERE file=?");
  query.bind(file);
  return query.step() ? query.text(0) : std::string();
}

Result<OpenedBundle> open_bundle(const Index& index, std::int64_t file) {
  const std::string path = index.folder + "/" + path_of(index, file);
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
  return open_unverified(std::move(bytes), printable(path));
}

Result<Manifest> read_manifest(const Index& index, std::int64_t file) {
  const std::string path = index.folder + "/" + path_of(index, file);
  CALSEAL_ASSIGN(PartialFile part, PartialFile::open(path, kBundleSizeLimit));
  Bytes bytes;
  CALSEAL_CHECK(part.read_up_to(kPrefixSizeLimit, bytes));
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(bytes, printable(path)));
  return parse_manifest(prefix.manifest, printable(path));
}

std::vector<RegionMap> maps_of(const Index& index) {
  std::vector<RegionMap> maps;
  std::set<Sha256> seen;
  Query query(*index.database, "SELECT map, file FROM revisions ORDER BY map, revision DESC, file");
  std::vector<std::pair<Sha256, std::int64_t>> rows;
  while (query.step()) rows.emplace_back(query.digest(0).value_or(Sha256{}), query.signed_number(1));
  for (const auto& [digest, file] : rows) {
    if (seen.contains(digest)) continue;
    Result<OpenedBundle> opened = open_bundle(index, file);
    if (!opened || opened->map.digest != digest) continue;
    seen.insert(digest);
    maps.push_back(std::move(opened->map));
  }
  return maps;
}

}  // namespace calseal
