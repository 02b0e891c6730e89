#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/region_map_report.h"

namespace calseal {

std::string region_map_counts(const RegionMap& map) {
  std::string text = counted(map.regions.size(), "region", "regions") + ", " +
                     counted(map.checksums.size(), "checksum", "checksums");
  const auto add = [&](std::size_t count, std::string_view one, std::string_view many) {
    if (count != 0) text += ", " + counted(count, one, many);
  };
  add(map.copies.size(), "copy", "copies");
  add(map.patches.size(), "permitted patch", "permitted patches");
  add(map.identity.size(), "identity field", "identity fields");
  add(map.signed_parts.size(), "signed part", "signed parts");
  add(map.sectors.size(), "erase sector", "erase sectors");
  return text;
}

JsonValue region_map_counts_json(const RegionMap& map) {
  return json_object({{"memories", json(map.memories.size())},
                      {"regions", json(map.regions.size())},
                      {"checksums", json(map.checksums.size())},
                      {"copies", json(map.copies.size())},
                      {"permitted_patches", json(map.patches.size())},
                      {"identity", json(map.identity.size())},
                      {"signed_parts", json(map.signed_parts.size())},
                      {"erase_sectors", json(map.sectors.size())}});
}

std::vector<std::string> coverage_words(const RegionMap& map, const Checksum& checksum) {
  std::vector<std::string> words;
  for (const Coverage& piece : checksum.coverage) {
    if (const auto* range = std::get_if<CoverageRange>(&piece)) {
      words.push_back(place_text(map, range->place));
    } else if (const auto* literal = std::get_if<CoverageLiteral>(&piece)) {
      words.push_back("bytes " + hex_excerpt(*literal->bytes));
    } else if (const auto* table = std::get_if<CoverageTable>(&piece)) {
      const std::string at = map.memories[table->table.memory].name + " " + address_text(table->table.at);
      const std::string table_at = " of the table at " + at;
      if (table->record) {
        words.push_back("what record " + std::to_string(*table->record) + table_at + " names");
      } else {
        words.push_back("what " + counted(table->table.records, "record", "records") + table_at +
                        (table->table.records == 1 ? " names" : " name"));
      }
    }
  }
  return words;
}

}  // namespace calseal
