#include "calseal/study/region_map_library.h"

#include <algorithm>
#include <filesystem>
#include <system_error>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/map/identity.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

Result<std::vector<std::string>> files_of(const std::string& folder) {
  std::error_code fault;
  if (!fs::is_directory(folder, fault)) {
    const bool missing = !fs::exists(folder, fault);
    return fail({missing ? Reason::kFileMissing : Reason::kFileUnreadable, printable(folder), "",
                 missing ? "nothing" : "no folder", "a folder of region maps",
                 "give the folder that the region maps are kept in"});
  }
  std::vector<std::string> files;
  fs::directory_iterator entry(folder, fault);
  for (; !fault && entry != fs::directory_iterator(); entry.increment(fault)) {
    if (entry->path().extension() != ".json") continue;
    files.push_back(entry->path().string());
    if (files.size() > kLibraryFileLimit) {
      return fail({Reason::kFileTooLarge, printable(folder), "",
                   "more than " + grouped(kLibraryFileLimit) + " files", "a folder of region maps",
                   "keep the region maps in a folder of their own"});
    }
  }
  if (fault) {
    return fail({Reason::kFileUnreadable, printable(folder), "", fault.message(), "a folder that can be read",
                 "check its permissions"});
  }
  std::ranges::sort(files);
  return files;
}

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
  CALSEAL_ASSIGN(const std::vector<std::string> files, files_of(folder));
  RegionMapLibrary library;
  for (const std::string& file : files) {
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

std::vector<std::size_t> map_history(const RegionMapLibrary& library, const std::string& name) {
  std::vector<std::size_t> history;
  for (std::size_t i = 0; i < library.maps.size(); ++i) {
    if (library.maps[i].map.name == name) history.push_back(i);
  }
  std::ranges::stable_sort(history, {}, [&](std::size_t i) { return library.maps[i].map.version; });
  return history;
}

}  // namespace calseal
