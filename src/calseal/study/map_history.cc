#include "calseal/study/map_history.h"

#include <algorithm>
#include <map>
#include <tuple>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {
namespace {

class Histories {
 public:
  explicit Histories(const RegionMapLibrary& library) : maps_(library.maps) {}

  std::vector<MapHistory> run() {
    std::map<std::string, MapHistory> by_name;
    for (const std::size_t i : in_order()) {
      MapHistory& history = by_name[maps_[i].map.name];
      history.name = maps_[i].map.name;
      if (!history.versions.empty() && map(history.versions.back()).digest == maps_[i].map.digest) {
        history.versions.back().also_as.push_back(maps_[i].file);
        continue;
      }
      history.versions.push_back({i, {}, std::nullopt, false, std::nullopt});
    }
    std::vector<MapHistory> all;
    for (auto& [name, history] : by_name) {
      link(history);
      all.push_back(std::move(history));
    }
    return all;
  }

 private:
  const RegionMap& map(const MapVersion& version) const { return maps_[version.map].map; }

  std::vector<std::size_t> in_order() const {
    std::vector<std::size_t> order(maps_.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::ranges::stable_sort(order, {}, [&](std::size_t i) {
      return std::tuple(maps_[i].map.version, digest_text(maps_[i].map.digest));
    });
    return order;
  }

  std::string words(std::size_t index) const {
    return maps_[index].file + " (version " + std::to_string(maps_[index].map.version) + ")";
  }

  void link(MapHistory& history) const {
    std::map<std::size_t, std::size_t> follower;  // text to the first one that succeeds it
    for (std::size_t k = 0; k < history.versions.size(); ++k) {
      MapVersion& version = history.versions[k];
      if (k > 0 && map(history.versions[k - 1]).version == map(version).version) {
        history.conflicts.push_back(words(history.versions[k - 1].map) + " and " + words(version.map) +
                                    " are two texts of one version");
      }
      find_before(history, k);
      if (!version.before) continue;
      version.diff = diff_region_maps(maps_[*version.before].map, map(version));
      const auto [first, is_first] = follower.try_emplace(*version.before, version.map);
      if (!is_first) {
        history.conflicts.push_back(words(first->second) + " and " + words(version.map) + " both succeed " +
                                    words(*version.before));
      }
    }
  }

  void find_before(MapHistory& history, std::size_t k) const {
    MapVersion& version = history.versions[k];
    const std::optional<Sha256>& named = map(version).succeeds;
    if (!named) {
      // The last one of a lower version; of two texts of that version neither is more likely, so none.
      std::vector<std::size_t> lower;
      for (std::size_t j = 0; j < k; ++j) {
        const std::uint64_t number = map(history.versions[j]).version;
        if (number >= map(version).version) continue;
        if (!lower.empty() && maps_[lower.front()].map.version < number) lower.clear();
        lower.push_back(history.versions[j].map);
      }
      if (lower.size() == 1) version.before = lower.front();
      return;
    }
    version.declared = true;
    const auto found =
        std::ranges::find_if(maps_, [&](const LibraryMap& that) { return that.map.digest == *named; });
    if (found == maps_.end()) {
      history.conflicts.push_back(words(version.map) + " succeeds " + digest_text(*named) +
                                  ", which is not in the folder");
      return;
    }
    version.before = static_cast<std::size_t>(found - maps_.begin());
    if (found->map.name == map(version).name && found->map.version >= map(version).version) {
      history.conflicts.push_back(words(version.map) + " succeeds " + words(*version.before) +
                                  ", whose version is not lower");
    }
  }

  const std::vector<LibraryMap>& maps_;
};

}  // namespace

std::vector<MapHistory> histories_of(const RegionMapLibrary& library) { return Histories(library).run(); }

}  // namespace calseal
