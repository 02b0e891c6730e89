// Neighbouring edits move together as a group, which is found again by its context.
#include "calseal/option/carry.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/change/context.h"
#include "calseal/map/items.h"
#include "calseal/option/resolve.h"

namespace calseal {
namespace {

constexpr std::uint64_t kGroupGap = 16;  // edits at most so far apart move together
constexpr std::uint64_t kGroupSize = 4096;
// Edits that move together.
struct Group {
  std::size_t memory = 0;
  Range range;                     // of all its edits, in the old base
  std::vector<std::size_t> edits;  // indexes into the option's edits
  std::vector<Range> places;       // of each, in the old base
};

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
      std::vector<ContextGroup> wanted;
      std::vector<const Group*> whose;
      for (const Group& group : groups) {
        if (group.memory != m) continue;
        wanted.push_back({group.range, group.places});
        whose.push_back(&group);
      }
      if (wanted.empty() || target == new_.memories.size()) continue;
      const std::vector<ContextMatch> matches = find_by_context(
          from, new_base_.memories[target], wanted, derived_of(old_plan_, m), derived_of(new_plan_, target));
      for (std::size_t i = 0; i < matches.size(); ++i) decide(*whose[i], target, matches[i]);
    }
  }

  static RangeSet derived_of(const Plan& plan, std::size_t memory) {
    RangeSet derived = plan.bytes_of(memory, SpanKind::kDerived);
    derived.add(plan.bytes_of(memory, SpanKind::kFloating));
    return derived;
  }

  void decide(const Group& group, std::size_t target, const ContextMatch& match) {
    for (std::size_t i = 0; i < group.edits.size(); ++i) {
      CarriedEdit& edit = carried_.edits[group.edits[i]];
      edit.second = match.second;
      if (match.here.empty()) continue;
      const ContextCandidate& best = match.here.front();
      edit.score = best.score;
      const std::uint64_t begin = best.begin + (group.places[i].begin - group.range.begin);
      edit.to = {target, {begin, begin + group.places[i].size()}};
      edit.outcome = !match.found()      ? CarryOutcome::kWeak
                     : !match.alone()    ? CarryOutcome::kAmbiguous
                     : !best.core_agrees ? CarryOutcome::kBefore
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
