#include "calseal/study/region_map_library.h"

#include <algorithm>
#include <filesystem>
#include <iterator>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/map/identity.h"
#include "calseal/study/folder_entries.h"

namespace calseal {
namespace {

const FolderListing kMapListing{"a folder of region maps",
                                "give the folder that the region maps are kept in",
                                ".json",
                                kLibraryFileLimit,
                                "files",
                                "keep the region maps in a folder of their own"};

MapFit fit_of(const RegionMapLibrary& library, std::size_t index, const std::vector<ReadFile>& files) {
  MapFit fit;
  fit.map = index;
  const RegionMap& map = library.maps[index].map;
  const Result<Read> read = load_read(map, files);
  if (!read) {
    fit.why_not = read.error();
    return fit;
  }
  fit.laid = true;
  const Status recognised = recognise_family(map, read->image);
  fit.recognised = recognised.has_value();
  if (!recognised) fit.why_not = recognised.error();
  return fit;
}

bool has_rule(const RegionMap& map) {
  return !map.recognition.all.empty() || !map.recognition.software_numbers.empty();
}

}  // namespace

Result<RegionMapLibrary> load_region_map_library(const std::string& folder) {
  CALSEAL_ASSIGN(const std::vector<std::filesystem::path> paths, folder_entries(folder, kMapListing));
  RegionMapLibrary library;
  for (const std::filesystem::path& path : paths) {
    const std::string file = path.string();
    Result<Bytes> text = read_file(file, kRegionMapSizeLimit);
    if (!text) {
      library.faulty.push_back(in_file(text.error(), printable(file)));
      continue;
    }
    Result<RegionMap> map = parse_region_map(*std::move(text), printable(file));
    if (!map) {
      library.faulty.push_back(map.error());
      continue;
    }
    library.maps.push_back({printable(file), *std::move(map)});
  }
  return library;
}

Result<RegionMapLibrary> load_region_maps(const std::vector<std::string>& paths) {
  RegionMapLibrary all;
  for (const std::string& path : paths.empty() ? std::vector<std::string>{"."} : paths) {
    if (std::filesystem::is_directory(path)) {
      CALSEAL_ASSIGN(RegionMapLibrary folder, load_region_map_library(path));
      std::ranges::move(folder.maps, std::back_inserter(all.maps));
      std::ranges::move(folder.faulty, std::back_inserter(all.faulty));
      continue;
    }
    CALSEAL_ASSIGN(Bytes text, read_file(path, kRegionMapSizeLimit));
    CALSEAL_ASSIGN(RegionMap map, parse_region_map(std::move(text), printable(path)));
    all.maps.push_back({printable(path), std::move(map)});
  }
  return all;
}

MapChoice choose_region_map(const RegionMapLibrary& library, const std::vector<ReadFile>& files) {
  MapChoice choice;
  std::vector<std::size_t> fitting;
  bool any_rule = false;
  for (std::size_t i = 0; i < library.maps.size(); ++i) {
    choice.fits.push_back(fit_of(library, i, files));
    if (!choice.fits.back().recognised) continue;
    fitting.push_back(i);
    any_rule = any_rule || has_rule(library.maps[i].map);
  }
  std::erase_if(fitting, [&](std::size_t i) { return any_rule && !has_rule(library.maps[i].map); });
  std::vector<std::size_t> best;
  for (const std::size_t i : fitting) {
    const RegionMap& map = library.maps[i].map;
    const auto newer = std::ranges::find_if(fitting, [&](std::size_t other) {
      const RegionMap& that = library.maps[other].map;
      return that.name == map.name && that.version > map.version;
    });
    if (newer != fitting.end()) {
      choice.fits[i].superseded_by = library.maps[*newer].file;
      continue;
    }
    const bool repeated = std::ranges::any_of(
        best, [&](std::size_t other) { return library.maps[other].map.digest == map.digest; });
    if (!repeated) best.push_back(i);
  }
  if (best.size() == 1) {
    choice.chosen = best.front();
  } else if (best.empty()) {
    choice.conflict = "no region map of the folder recognises this read";
  } else {
    choice.conflict = "several region maps recognise this read:";
    for (const std::size_t i : best) {
      const LibraryMap& map = library.maps[i];
      choice.conflict += " " + map.file + " (" + map.map.name + " version " +
                         std::to_string(map.map.version) + ")" + (i == best.back() ? "" : ",");
    }
  }
  return choice;
}

Result<std::size_t> map_to_judge_by(const RegionMapLibrary& library, const MapChoice& choice) {
  if (choice.chosen) return *choice.chosen;
  if (library.maps.size() == 1) return std::size_t{0};
  return fail({Reason::kFamilyMismatch, "", "", choice.conflict, "one region map that recognises the read",
               "name the region map itself with --regions MAP.json to have the read judged against it"});
}

}  // namespace calseal
