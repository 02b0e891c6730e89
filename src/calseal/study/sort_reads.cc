#include "calseal/study/sort_reads.h"

#include <algorithm>
#include <map>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/map/identity.h"

namespace calseal {
namespace {

// The files that one map takes, if it recognises them.
struct Taken {
  std::size_t map = 0;
  std::vector<std::size_t> files;  // into those given
};

class Sorting {
 public:
  Sorting(const RegionMapLibrary& library, const std::vector<LooseFile>& files)
      : library_(library), files_(files) {}

  Result<std::vector<SortedRead>> run() {
    if (library_.maps.size() == 1) {
      SortedRead all;
      for (const LooseFile& loose : files_) {
        CALSEAL_CHECK(require_controller(loose));
        all.files.push_back(loose.file);
      }
      return std::vector{std::move(all)};
    }
    std::map<std::string, std::vector<Taken>> by_controller;
    for (const LooseFile& loose : files_) CALSEAL_CHECK(require_controller(loose));
    for (std::size_t i = 0; i < library_.maps.size(); ++i) {
      if (auto taken = take(i)) by_controller[library_.maps[i].map.controller].push_back(*std::move(taken));
    }
    std::vector<Taken> chosen;
    for (const auto& [controller, candidates] : by_controller) {
      CALSEAL_ASSIGN(Taken one, choose(controller, candidates));
      chosen.push_back(std::move(one));
    }
    CALSEAL_CHECK(require_one_owner(chosen));
    std::vector<SortedRead> sorted;
    for (const Taken& taken : chosen) sorted.push_back({taken.map, files_of(taken)});
    return sorted;
  }

 private:
  Status require_controller(const LooseFile& loose) const {
    const auto has = [&](const LibraryMap& one) { return one.map.controller == loose.controller; };
    if (loose.controller.empty() || std::ranges::any_of(library_.maps, has)) return {};
    return fail({Reason::kUsage, loose.file.name, "", "controller " + printable(loose.controller, 80),
                 "a controller of one of the region maps", "see calseal regions show"});
  }

  std::optional<Taken> take(std::size_t map) const {
    const RegionMap& of = library_.maps[map].map;
    Taken taken{map, {}};
    for (std::size_t i = 0; i < files_.size(); ++i) {
      const LooseFile& loose = files_[i];
      const bool may = loose.controller.empty() || loose.controller == of.controller;
      if (may && load_held_read(of, {loose.file})) taken.files.push_back(i);
    }
    if (taken.files.empty()) return std::nullopt;
    const Result<Read> together = load_read(of, files_of(taken));
    if (!together || !recognise_family(of, together->image)) return std::nullopt;
    return taken;
  }

  Result<Taken> choose(const std::string& controller, const std::vector<Taken>& candidates) const {
    if (candidates.size() == 1) return candidates.front();
    RegionMapLibrary among;
    for (const Taken& one : candidates) among.maps.push_back(library_.maps[one.map]);
    const MapChoice choice = choose_region_map(among, files_of(candidates.front()));
    if (choice.chosen) return candidates[*choice.chosen];
    return fail({Reason::kFamilyMismatch, files_of(candidates.front()).front().name, controller,
                 choice.conflict, "one region map for each controller",
                 "give the region map itself with --regions"});
  }

  Status require_one_owner(const std::vector<Taken>& chosen) const {
    for (std::size_t i = 0; i < files_.size(); ++i) {
      std::vector<std::string> owners;
      for (const Taken& taken : chosen) {
        if (std::ranges::find(taken.files, i) != taken.files.end())
          owners.push_back(library_.maps[taken.map].map.controller);
      }
      if (owners.size() == 1) continue;
      if (!owners.empty()) {
        return fail({Reason::kUsage, files_[i].file.name, "",
                     "a file that fits " + owners[0] + " and " + owners[1], "the controller that it is of",
                     "name it: " + owners[0] + ".MEMORY=FILE"});
      }
      return fail({Reason::kFamilyMismatch, files_[i].file.name, "",
                   "no region map takes this file and recognises what it is read with",
                   "a read of a controller that a region map describes",
                   "run calseal receive on it; it says what each region map misses"});
    }
    return {};
  }

  std::vector<ReadFile> files_of(const Taken& taken) const {
    std::vector<ReadFile> files;
    for (const std::size_t i : taken.files) files.push_back(files_[i].file);
    return files;
  }

  const RegionMapLibrary& library_;
  const std::vector<LooseFile>& files_;
};

}  // namespace

Result<std::vector<SortedRead>> sort_reads(const RegionMapLibrary& library,
                                           const std::vector<LooseFile>& files) {
  return Sorting(library, files).run();
}

}  // namespace calseal
