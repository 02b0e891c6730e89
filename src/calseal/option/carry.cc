// A tolerant search. Neighbouring edits move together as a group. Where runs of bytes around a group occur in
// the new memory, there the group might lie; each such place is scored by how much of the surroundings
// agrees. The same search in the old base tells how unlike its neighbours the true place is to begin with.
#include "calseal/option/carry.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <unordered_map>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/option/resolve.h"

namespace calseal {
namespace {

constexpr std::uint64_t kAround = 48;       // bytes looked at on each side
constexpr std::uint64_t kWindowLeast = 20;  // bytes of a window, the group's own included
constexpr std::array<std::pair<std::uint64_t, std::uint64_t>, 6> kWindows = {
    {{48, 48}, {24, 24}, {16, 16}, {10, 10}, {32, 0}, {0, 32}}};  // bytes on the left and right
constexpr std::uint64_t kCoreWeight = 80;                         // most that a group's own bytes count
constexpr std::uint64_t kGroupGap = 16;                           // edits at most so far apart move together
constexpr std::uint64_t kGroupSize = 4096;
constexpr std::uint64_t kScoreNeeded = 650;    // thousandths
constexpr std::uint64_t kLeadNeeded = 150;     // over the next best place, here and in the old base
constexpr std::uint64_t kLeadOfPerfect = 100;  // where nothing differs
constexpr std::size_t kAnchor = 8;             // bytes of a run that is searched for
constexpr std::size_t kAnchorHits = 64;        // a run that occurs more often says nothing

// Edits that move together.
struct Group {
  std::size_t memory = 0;
  Range range;                     // of all its edits, in the old base
  std::vector<std::size_t> edits;  // indexes into the option's edits
  std::vector<Range> places;       // of each, in the old base
};

struct Candidate {
  std::uint64_t begin = 0;  // where the group would begin
  std::uint64_t score = 0;
  bool core_agrees = false;  // every byte of `before`
};

std::uint64_t anchor_at(const Bytes& bytes, std::size_t at) {
  std::uint64_t word = 0;
  std::memcpy(&word, bytes.data() + at, kAnchor);
  return word;
}

bool says_something(std::uint64_t anchor) {
  // A run of one value, or of one 16-bit value, occurs anywhere.
  return anchor != ((anchor << 16) | (anchor >> 48));
}

// Every distance of an anchor from its group's begin, by the anchor's bytes.
class Anchors {
 public:
  struct Wanted {
    std::size_t group;
    std::int64_t distance;
  };

  void add(std::size_t group, const Memory& memory, const Range& range) {
    const std::uint64_t begin = std::max(memory.extent.begin, range.begin - std::min(range.begin, kAround));
    const std::uint64_t end = std::min(memory.extent.end, range.end + kAround);
    for (std::uint64_t at = begin; at + kAnchor <= end; ++at) {
      if (!memory.knows({at, at + kAnchor})) continue;
      const std::uint64_t word = anchor_at(memory.bytes, static_cast<std::size_t>(at - memory.extent.begin));
      if (!says_something(word)) continue;
      wanted_[word].push_back(
          {group, static_cast<std::int64_t>(at) - static_cast<std::int64_t>(range.begin)});
      filter_[filter_index(word)] = true;
    }
  }

  // Places where each group might begin, in one pass over the memory.
  std::vector<std::vector<std::uint64_t>> find(const Memory& memory, std::size_t groups) const {
    std::unordered_map<std::uint64_t, std::vector<std::uint64_t>> hits;
    for (const Range& known : memory.known.ranges()) {
      for (std::uint64_t at = known.begin; at + kAnchor <= known.end; ++at) {
        const std::uint64_t word =
            anchor_at(memory.bytes, static_cast<std::size_t>(at - memory.extent.begin));
        if (!filter_[filter_index(word)] || !wanted_.contains(word)) continue;
        std::vector<std::uint64_t>& places = hits[word];
        if (places.size() <= kAnchorHits) places.push_back(at);
      }
    }
    std::vector<std::vector<std::uint64_t>> begins(groups);
    for (const auto& [word, places] : hits) {
      if (places.size() > kAnchorHits) continue;
      for (const Wanted& wanted : wanted_.at(word)) {
        for (const std::uint64_t at : places) {
          const std::int64_t begin = static_cast<std::int64_t>(at) - wanted.distance;
          if (begin >= 0) begins[wanted.group].push_back(static_cast<std::uint64_t>(begin));
        }
      }
    }
    for (std::vector<std::uint64_t>& list : begins) {
      std::ranges::sort(list);
      list.erase(std::unique(list.begin(), list.end()), list.end());
    }
    return begins;
  }

 private:
  static std::size_t filter_index(std::uint64_t word) {
    return static_cast<std::size_t>((word * 0x9e3779b97f4a7c15U) >> 44);
  }
  std::unordered_map<std::uint64_t, std::vector<Wanted>> wanted_;
  std::vector<bool> filter_ = std::vector<bool>(std::size_t{1} << 20);
};

// What agrees around a group on one side, nearest byte first, added up: agreed[i] of the first i bytes.
struct Side {
  std::array<std::uint64_t, kAround + 1> agreed = {};
  std::uint64_t bytes = 0;  // that the old base has there, at most kAround

  // Of the nearest `wanted` bytes.
  std::uint64_t upto(std::uint64_t wanted) const { return agreed[std::min(wanted, bytes)]; }
};

// How well the surroundings of `group` in `from` agree with those of `begin` in `to`: the best of several
// windows, since a block that moved alone agrees on one side or near by only. Other places are scored by the
// same windows, so what is alike anywhere in one of them is not taken for sure.
Candidate score_at(const Group& group, const Memory& from, const Memory& to, std::uint64_t begin) {
  Candidate candidate{begin, 0, true};
  const auto agrees = [&](std::uint64_t old_at, std::uint64_t new_at) {
    return to.known.contains(new_at) && from.bytes[static_cast<std::size_t>(old_at - from.extent.begin)] ==
                                            to.bytes[static_cast<std::size_t>(new_at - to.extent.begin)];
  };
  Side left, right;
  for (std::uint64_t i = 1; i <= kAround; ++i) {
    if (group.range.begin < from.extent.begin + i || !from.known.contains(group.range.begin - i)) break;
    const bool same = begin >= to.extent.begin + i && agrees(group.range.begin - i, begin - i);
    left.agreed[i] = left.agreed[i - 1] + (same ? 1 : 0);
    left.bytes = i;
  }
  for (std::uint64_t i = 1; i <= kAround; ++i) {
    const std::uint64_t at = group.range.end + i - 1;
    if (at >= from.extent.end || !from.known.contains(at)) break;
    const std::uint64_t there = begin + group.range.size() + i - 1;
    const bool same = there < to.extent.end && agrees(at, there);
    right.agreed[i] = right.agreed[i - 1] + (same ? 1 : 0);
    right.bytes = i;
  }
  // What lies between the edits is surroundings too; what they expect must be there whatever the score.
  std::uint64_t same = 0;
  std::size_t place = 0;
  for (std::uint64_t i = 0; i < group.range.size(); ++i) {
    const std::uint64_t at = group.range.begin + i;
    while (place < group.places.size() && group.places[place].end <= at) ++place;
    if (agrees(at, begin + i)) {
      ++same;
    } else if (place < group.places.size() && group.places[place].contains(at)) {
      candidate.core_agrees = false;
    }
  }
  const std::uint64_t core = std::min(group.range.size(), kCoreWeight);
  const std::uint64_t core_agreed = same * core / group.range.size();
  for (const auto& [on_left, on_right] : kWindows) {
    const std::uint64_t total = core + std::min(on_left, left.bytes) + std::min(on_right, right.bytes);
    const std::uint64_t agreed = core_agreed + left.upto(on_left) + right.upto(on_right);
    if (total < kWindowLeast) continue;
    candidate.score = std::max(candidate.score, agreed * 1000 / total);
  }
  return candidate;
}

// Best first. What correction derives repeats its original, so it is no place for an edit; nor is `except`.
std::vector<Candidate> judged(const Group& group, const Memory& from, const Memory& to,
                              const std::vector<std::uint64_t>& begins, const RangeSet& derived,
                              std::optional<std::uint64_t> except) {
  std::vector<Candidate> candidates;
  for (const std::uint64_t begin : begins) {
    if (begin == except || begin < to.extent.begin || begin > to.extent.end ||
        group.range.size() > to.extent.end - begin)
      continue;
    if (derived.contains(Range{begin, begin + group.range.size()})) continue;
    candidates.push_back(score_at(group, from, to, begin));
  }
  std::ranges::stable_sort(candidates, std::ranges::greater(), &Candidate::score);
  return candidates;
}

bool has_same_item(const RegionMap& map, const OptionEdit& edit, const Item& old_item) {
  const Item* item = find_item(map, edit.item);
  return item != nullptr && item->kind == old_item.kind && item->type == old_item.type &&
         item->order == old_item.order && item->columns == old_item.columns && item->rows == old_item.rows;
}

class Carrying {
 public:
  Carrying(const Plan& old_plan, const Image& old_base, const OptionFile& option, const Plan& new_plan,
           const Image& new_base)
      : old_plan_(old_plan),
        old_(*old_plan.map),
        new_(*new_plan.map),
        old_base_(old_base),
        new_base_(new_base),
        new_plan_(new_plan),
        option_(option) {}

  Result<CarriedOption> run() {
    CALSEAL_ASSIGN(const std::vector<PlacedEdit> placed, place_edits(old_, option_));
    carried_.edits.resize(placed.size());
    std::vector<Group> groups;
    for (const PlacedEdit& one : placed) {
      const auto index = static_cast<std::size_t>(one.edit - option_.option.edits.data());
      CarriedEdit& edit = carried_.edits[index];
      edit.edit = index;
      edit.from = one.place;
      if (!carry_by_name(one, edit)) add_to_groups(one, index, groups);
    }
    search(groups);
    judge_places();
    if (!carried_.is_whole()) return std::move(carried_);
    write_option_of();
    OptionFile file{carried_.option, option_.file, {}, {}};
    if (!judge_option(new_plan_, new_base_, file).empty()) {
      for (CarriedEdit& edit : carried_.edits) edit.outcome = CarryOutcome::kPlace;
      carried_.option = {};
    }
    return std::move(carried_);
  }

 private:
  // The region map's own word where an item of the same name and shape is.
  bool carry_by_name(const PlacedEdit& one, CarriedEdit& edit) {
    if (one.edit->item.empty()) return false;
    const Item* old_item = find_item(old_, one.edit->item);
    if (old_item == nullptr || !has_same_item(new_, *one.edit, *old_item)) return false;
    const Item& item = *find_item(new_, one.edit->item);
    edit.to = {item.place.memory,
               {item.place.range.begin + one.edit->at,
                item.place.range.begin + one.edit->at + one.edit->after.size()}};
    edit.outcome = holds_before(edit.to, *one.edit) ? CarryOutcome::kNamed : CarryOutcome::kBefore;
    edit.score = 1000;
    return true;
  }

  bool holds_before(const Place& place, const OptionEdit& edit) const {
    const Memory& memory = new_base_.memories[place.memory];
    return memory.knows(place.range) && std::ranges::equal(memory.view(place.range), edit.before);
  }

  static void add_to_groups(const PlacedEdit& one, std::size_t index, std::vector<Group>& groups) {
    const Range& range = one.place.range;
    if (!groups.empty()) {
      Group& last = groups.back();
      if (last.memory == one.place.memory && range.begin - last.range.end <= kGroupGap &&
          range.end - last.range.begin <= kGroupSize) {
        last.range.end = range.end;
        last.edits.push_back(index);
        last.places.push_back(range);
        return;
      }
    }
    groups.push_back({one.place.memory, range, {index}, {range}});
  }

  void search(const std::vector<Group>& groups) {
    for (std::size_t m = 0; m < old_.memories.size(); ++m) {
      const Memory& from = old_base_.memories[m];
      const std::size_t target = new_.memory_index(from.name);
      Anchors anchors;
      bool any = false;
      for (std::size_t g = 0; g < groups.size(); ++g) {
        if (groups[g].memory != m) continue;
        anchors.add(g, from, groups[g].range);
        any = true;
      }
      if (!any || target == new_.memories.size()) continue;
      const Memory& to = new_base_.memories[target];
      const auto here = anchors.find(to, groups.size());
      const auto there = anchors.find(from, groups.size());
      for (std::size_t g = 0; g < groups.size(); ++g) {
        if (groups[g].memory == m) decide(groups[g], from, to, target, here[g], there[g]);
      }
    }
  }

  static RangeSet derived_of(const Plan& plan, std::size_t memory) {
    RangeSet derived = plan.bytes_of(memory, SpanKind::kDerived);
    derived.add(plan.bytes_of(memory, SpanKind::kFloating));
    return derived;
  }

  void decide(const Group& group, const Memory& from, const Memory& to, std::size_t target,
              const std::vector<std::uint64_t>& here, const std::vector<std::uint64_t>& there) {
    const std::vector<Candidate> candidates =
        judged(group, from, to, here, derived_of(new_plan_, target), std::nullopt);
    const std::vector<Candidate> alike =
        judged(group, from, from, there, derived_of(old_plan_, group.memory), group.range.begin);
    std::uint64_t second = candidates.size() > 1 ? candidates[1].score : 0;
    if (!alike.empty()) second = std::max(second, alike.front().score);
    for (std::size_t i = 0; i < group.edits.size(); ++i) {
      CarriedEdit& edit = carried_.edits[group.edits[i]];
      edit.second = second;
      if (candidates.empty()) continue;
      const Candidate& best = candidates.front();
      edit.score = best.score;
      const std::uint64_t lead = best.score == 1000 ? kLeadOfPerfect : kLeadNeeded;
      const std::uint64_t begin = best.begin + (group.places[i].begin - group.range.begin);
      edit.to = {target, {begin, begin + group.places[i].size()}};
      edit.outcome = best.score < kScoreNeeded                          ? CarryOutcome::kWeak
                     : best.score - std::min(best.score, second) < lead ? CarryOutcome::kAmbiguous
                     : !best.core_agrees                                ? CarryOutcome::kBefore
                                                                        : CarryOutcome::kCarried;
    }
  }

  // Places found that a revision may not change, or that meet.
  void judge_places() {
    std::vector<RangeSet> free;
    for (std::size_t m = 0; m < new_.memories.size(); ++m)
      free.push_back(new_plan_.bytes_of(m, SpanKind::kEditable));
    for (const PermittedPatch& patch : new_.patches) free[patch.place.memory].add(patch.place.range);
    std::vector<CarriedEdit*> found;
    for (CarriedEdit& edit : carried_.edits) {
      if (edit.outcome != CarryOutcome::kCarried && edit.outcome != CarryOutcome::kNamed) continue;
      if (!free[edit.to.memory].contains(edit.to.range)) {
        edit.outcome = CarryOutcome::kPlace;
      } else {
        found.push_back(&edit);
      }
    }
    std::ranges::sort(found, {}, [](const CarriedEdit* edit) { return edit->to; });
    for (std::size_t i = 1; i < found.size(); ++i) {
      if (found[i]->to.memory == found[i - 1]->to.memory &&
          found[i]->to.range.overlaps(found[i - 1]->to.range))
        found[i]->outcome = found[i - 1]->outcome = CarryOutcome::kPlace;
    }
  }

  void write_option_of() {
    Option& option = carried_.option;
    option = option_.option;
    option.region_map = new_.name;
    if (option.map_digest) option.map_digest = new_.digest;
    option.software_numbers.clear();
    if (const std::string number = software_number_of(new_, new_base_); !number.empty())
      option.software_numbers.push_back(number);
    for (const CarriedEdit& carried : carried_.edits) {
      if (carried.outcome == CarryOutcome::kNamed) continue;
      OptionEdit& edit = option.edits[carried.edit];
      edit.item.clear();
      edit.memory = new_.memories[carried.to.memory].name;
      edit.at = carried.to.range.begin;
    }
  }

  const Plan& old_plan_;
  const RegionMap& old_;
  const RegionMap& new_;
  const Image& old_base_;
  const Image& new_base_;
  const Plan& new_plan_;
  const OptionFile& option_;
  CarriedOption carried_;
};

}  // namespace

std::string_view carry_outcome_name(CarryOutcome outcome) {
  constexpr std::array<std::string_view, 6> kNames = {"carried",   "named",  "weak",
                                                      "ambiguous", "before", "place"};
  return kNames[static_cast<std::size_t>(outcome)];
}

bool CarriedOption::is_whole() const {
  return std::ranges::all_of(edits, [](const CarriedEdit& edit) {
    return edit.outcome == CarryOutcome::kCarried || edit.outcome == CarryOutcome::kNamed;
  });
}

Result<CarriedOption> carry_option(const Plan& old_plan, const Image& old_base, const OptionFile& option,
                                   const Plan& new_plan, const Image& new_base) {
  if (std::vector<Error> problems = judge_option(old_plan, old_base, option); !problems.empty())
    return fail(std::move(problems.front()));
  return Carrying(old_plan, old_base, option, new_plan, new_base).run();
}

}  // namespace calseal
