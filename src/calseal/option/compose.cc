#include "calseal/option/compose.h"

#include <algorithm>
#include <tuple>

#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/map/items.h"

namespace calseal {
namespace {

constexpr std::size_t kConflictLimit = 10000;

// One option of the composition, with its places.
struct Member {
  const OptionFile* file = nullptr;
  std::vector<PlacedEdit> edits;
  const std::string& name() const { return file->option.name; }
};

bool holds(const std::vector<std::string>& list, const std::string& word) {
  return std::ranges::find(list, word) != list.end();
}

Error needs(Reason reason, const OptionFile& file, const std::string& kind, const std::string& what) {
  const bool missing = reason == Reason::kOptionRequires;
  return {reason,
          file.file,
          "option " + file.option.name,
          (missing ? "no " : "") + kind + " " + printable(what, 80),
          (missing ? "" : "no ") + kind + " " + printable(what, 80),
          missing ? "add what it needs, or leave the option out" : "leave one of the two out"};
}

void judge_conditions(const OptionFile& file, const std::vector<std::string>& options,
                      const StatedConditions& stated, std::vector<Error>& problems) {
  const struct {
    const char* kind;
    const std::vector<std::string>& present;
    const std::vector<std::string>& required;
    const std::vector<std::string>& excluded;
  } kLists[] = {
      {"option", options, file.option.requires_also.options, file.option.excludes.options},
      {"fuel", stated.fuel, file.option.requires_also.fuel, file.option.excludes.fuel},
      {"hardware", stated.hardware, file.option.requires_also.hardware, file.option.excludes.hardware},
  };
  for (const auto& list : kLists) {
    for (const std::string& word : list.required) {
      if (!holds(list.present, word))
        problems.push_back(needs(Reason::kOptionRequires, file, list.kind, word));
    }
  }
  for (const auto& list : kLists) {
    for (const std::string& word : list.excluded) {
      if (holds(list.present, word))
        problems.push_back(needs(Reason::kOptionExcludes, file, list.kind, word));
    }
  }
}

// Runs of bytes in which two overlapping edits differ.
void collect_conflicts(const RegionMap& map, const std::string& first, const PlacedEdit& a,
                       const std::string& second, const PlacedEdit& b, std::vector<OptionConflict>& out) {
  const Range shared = intersect(a.place.range, b.place.range);
  const auto part = [&](const PlacedEdit& placed) {
    return ByteView(placed.edit->after)
        .subspan(static_cast<std::size_t>(shared.begin - placed.place.range.begin),
                 static_cast<std::size_t>(shared.size()));
  };
  const ByteView one = part(a);
  const ByteView other = part(b);
  for (const Range& run : differing_ranges(one, other)) {
    const auto begin = static_cast<std::ptrdiff_t>(run.begin);
    const auto end = static_cast<std::ptrdiff_t>(run.end);
    const Place place{a.place.memory, {shared.begin + run.begin, shared.begin + run.end}};
    const Item* item = item_at(map, place.memory, place.range.begin);
    out.push_back({first, second, place, item == nullptr ? "" : item->name,
                   Bytes(one.begin() + begin, one.begin() + end),
                   Bytes(other.begin() + begin, other.begin() + end)});
    if (out.size() >= kConflictLimit) return;
  }
}

std::vector<OptionConflict> find_conflicts(const RegionMap& map, const std::vector<Member>& members) {
  struct Claim {
    PlacedEdit placed;
    std::size_t member;
  };
  std::vector<Claim> claims;
  for (std::size_t i = 0; i < members.size(); ++i) {
    for (const PlacedEdit& placed : members[i].edits) claims.push_back({placed, i});
  }
  std::ranges::sort(claims, {},
                    [](const Claim& claim) { return std::pair(claim.placed.place, claim.member); });
  std::vector<OptionConflict> conflicts;
  std::vector<const Claim*> open;  // that reach past the claim looked at
  for (const Claim& claim : claims) {
    const Place& place = claim.placed.place;
    std::erase_if(open, [&](const Claim* earlier) {
      return earlier->placed.place.memory != place.memory ||
             earlier->placed.place.range.end <= place.range.begin;
    });
    for (const Claim* earlier : open) {
      const bool in_order = earlier->member < claim.member;
      const Claim& a = in_order ? *earlier : claim;
      const Claim& b = in_order ? claim : *earlier;
      if (conflicts.size() < kConflictLimit)
        collect_conflicts(map, members[a.member].name(), a.placed, members[b.member].name(), b.placed,
                          conflicts);
    }
    open.push_back(&claim);
  }
  std::ranges::sort(conflicts, {}, [](const OptionConflict& conflict) {
    return std::tie(conflict.first, conflict.second, conflict.place);
  });
  return conflicts;
}

Error conflict_error(const RegionMap& map, const OptionConflict& conflict) {
  return {Reason::kOptionConflict,
          "",
          "options " + conflict.first + " and " + conflict.second + ", " + place_text(map, conflict.place) +
              (conflict.item.empty() ? "" : " (" + conflict.item + ")"),
          conflict.first + " puts " + hex_excerpt(conflict.first_bytes) + ", " + conflict.second + " puts " +
              hex_excerpt(conflict.second_bytes),
          "options that agree on every byte they share",
          "leave one of the two out, or make an option of both together"};
}

// By name, then digest: the order given has no meaning.
std::vector<const OptionFile*> in_order(const std::vector<OptionFile>& options) {
  std::vector<const OptionFile*> files;
  for (const OptionFile& option : options) files.push_back(&option);
  const auto key = [](const OptionFile* file) { return std::tie(file->option.name, file->digest); };
  std::ranges::stable_sort(files, {}, key);
  const auto same = [&](const OptionFile* a, const OptionFile* b) { return key(a) == key(b); };
  files.erase(std::unique(files.begin(), files.end(), same), files.end());
  return files;
}

}  // namespace

Composition lay_options(const Plan& plan, const Image& base, const std::vector<OptionFile>& options,
                        const StatedConditions& stated) {
  const RegionMap& map = *plan.map;
  Composition composition;
  const std::vector<const OptionFile*> files = in_order(options);
  for (const OptionFile* file : files) {
    if (!composition.options.empty() && composition.options.back() == file->option.name) {
      composition.problems.push_back({Reason::kOptionConflict, file->file, "option " + file->option.name,
                                      "two different files of this name", "one file for each name",
                                      "leave one of the two out, or rename it"});
      continue;
    }
    composition.options.push_back(file->option.name);
  }
  std::vector<Member> members;
  for (const OptionFile* file : files) {
    for (Error& problem : judge_option(plan, base, *file)) composition.problems.push_back(std::move(problem));
    if (auto placed = place_edits(map, *file)) members.push_back({file, *std::move(placed)});
  }
  for (const OptionFile* file : files)
    judge_conditions(*file, composition.options, stated, composition.problems);
  composition.conflicts = find_conflicts(map, members);
  for (const OptionConflict& conflict : composition.conflicts)
    composition.problems.push_back(conflict_error(map, conflict));
  composition.image = base;
  if (!composition.holds()) return composition;
  for (const Member& member : members) {
    for (const auto& [place, edit] : member.edits)
      std::ranges::copy(edit->after, composition.image.memories[place.memory].span(place.range).begin());
  }
  return composition;
}

Result<Composition> compose(const Plan& plan, const Image& base, const std::vector<OptionFile>& options,
                            const StatedConditions& stated) {
  Composition composition = lay_options(plan, base, options, stated);
  if (!composition.holds()) return composition;
  CALSEAL_ASSIGN(composition.correction, correct(plan, composition.image));
  return composition;
}

}  // namespace calseal
