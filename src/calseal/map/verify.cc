#include "calseal/map/verify.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/likely_fault.h"
#include "calseal/map/value.h"

namespace calseal {
namespace {

std::string number_text(std::uint64_t number, int bits) { return hex_number(number, (bits + 3) / 4); }

const std::vector<RangeSet>& taken_by(const PlanNode& node) {
  return node.is_copy ? node.reads : node.message.reads();
}

// Where its value stands, whoever may write there.
std::vector<Place> places_of(const PlanNode& node) {
  std::vector<Place> places = node.writes;
  places.insert(places.end(), node.fixed.begin(), node.fixed.end());
  return places;
}

std::string unknown_place(const Plan& plan, const PlanNode& node, const Image& image) {
  const auto knows = [&](std::size_t m, const Range& range) { return image.memories[m].knows(range); };
  bool all_known =
      std::ranges::all_of(node.writes, [&](const Place& place) { return knows(place.memory, place.range); });
  for (std::size_t m = 0; m < taken_by(node).size(); ++m) {
    for (const Range& range : taken_by(node)[m].ranges()) all_known = all_known && knows(m, range);
  }
  for (const Place& place : node.fixed) all_known = all_known && knows(place.memory, place.range);
  if (all_known) return {};
  std::vector<RangeSet> needed = taken_by(node);
  for (const Place& place : places_of(node)) needed[place.memory].add(place.range);
  for (std::size_t m = 0; m < needed.size(); ++m) {
    needed[m].remove(image.memories[m].known);
    if (!needed[m].empty()) return place_text(*plan.map, {m, needed[m].ranges().front()}) + " is unknown";
  }
  return {};
}

void verify_copy(const Plan& plan, const PlanNode& node, const Image& image, CheckOutcome& outcome) {
  const Copy& copy = plan.map->copies[node.index];
  outcome.algorithm = copy.transform == CopyTransform::kPlain ? "copy"
                      : copy.transform == CopyTransform::kComplement
                          ? "copy, complemented"
                          : "copy, offset by " + std::to_string(copy.offset);
  if (!outcome.detail.empty()) return;
  const ByteView of = image.memories[copy.of.memory].view(copy.of.range);
  const ByteView to = image.memories[copy.to.memory].view(copy.to.range);
  std::uint64_t differing = 0;
  std::uint64_t first = 0;
  for (std::size_t i = 0; i < of.size(); ++i) {
    if (to[i] == copied_byte(copy, of[i])) continue;
    if (differing++ == 0) first = i;
  }
  if (differing == 0) return;
  outcome.state = CheckState::kFails;
  const std::uint64_t to_at = copy.to.range.begin + first;
  const std::uint64_t of_at = copy.of.range.begin + first;
  outcome.wrong = Place{copy.to.memory, {to_at, to_at + 1}};
  outcome.detail = grouped(differing) + (differing == 1 ? " byte differs, at " : " bytes differ, first at ") +
                   place_text(*plan.map, *outcome.wrong) + " (original " +
                   place_text(*plan.map, {copy.of.memory, {of_at, of_at + 1}}) + ")";
}

void verify_checksum(const Plan& plan, const PlanNode& node, const Image& image, CheckOutcome& outcome) {
  const Checksum& checksum = plan.map->checksums[node.index];
  outcome.algorithm = checksum.algorithm.name;
  const bool known = outcome.detail.empty();
  CheckValue result;
  if (known) result = finish_value(checksum, compute_value(plan, node, image));
  if (checksum.rule) {
    outcome.stored = number_text(checksum.rule->equals, checksum.bits);
    if (!known) return;
    outcome.computed = number_text(result.number, checksum.bits);
    if (result.number != checksum.rule->equals) {
      outcome.state = CheckState::kFails;
      outcome.wrong = checksum.rule->balance;
    }
  } else {
    for (const Slot& slot : checksum.slots) {
      const Memory& memory = image.memories[slot.place.memory];
      if (!outcome.stored.empty()) outcome.stored += " ", outcome.computed += known ? " " : "";
      outcome.stored += memory.knows(slot.place.range) ? to_hex(memory.view(slot.place.range)) : "unknown";
      if (!known) continue;
      const Bytes right = encode_slot(checksum.algorithm, slot, result);
      outcome.computed += to_hex(right);
      if (std::ranges::equal(right, memory.view(slot.place.range)) || outcome.state == CheckState::kFails)
        continue;
      outcome.state = CheckState::kFails;
      outcome.wrong = slot.place;
    }
  }
  if (outcome.wrong) outcome.detail = "at " + place_text(*plan.map, *outcome.wrong);
}

// Whether two images differ in a byte that the node reads or writes.
bool differs_for(const PlanNode& node, const Image& one, const Image& other) {
  const auto differs = [&](std::size_t m, const Range& range) {
    const Memory& memory = one.memories[m];
    const RangeSet known = memory.known.within(range);
    return !std::ranges::all_of(known.ranges(), [&](const Range& part) {
      return std::ranges::equal(memory.view(part), other.memories[m].view(part));
    });
  };
  for (std::size_t m = 0; m < taken_by(node).size(); ++m) {
    for (const Range& range : taken_by(node)[m].ranges()) {
      if (differs(m, range)) return true;
    }
  }
  return std::ranges::any_of(places_of(node),
                             [&](const Place& place) { return differs(place.memory, place.range); });
}

}  // namespace

std::uint8_t copied_byte(const Copy& copy, std::uint8_t byte) {
  switch (copy.transform) {
    case CopyTransform::kPlain:
      return byte;
    case CopyTransform::kComplement:
      return static_cast<std::uint8_t>(~byte);
    case CopyTransform::kOffset:
      return static_cast<std::uint8_t>(byte + copy.offset);
  }
  return byte;
}

CheckOutcome verify_check(const Plan& plan, std::size_t index, const Image& image) {
  const PlanNode& node = plan.nodes[index];
  CheckOutcome outcome;
  outcome.name = node.name;
  outcome.node = index;
  outcome.is_copy = node.is_copy;
  outcome.is_rule = !node.is_copy && plan.map->checksums[node.index].rule.has_value();
  outcome.floating = node.floating;
  outcome.places = places_of(node);
  outcome.detail = unknown_place(plan, node, image);
  if (!outcome.detail.empty()) outcome.state = CheckState::kNotProvable;
  if (node.is_copy) {
    verify_copy(plan, node, image, outcome);
  } else {
    verify_checksum(plan, node, image, outcome);
  }
  return outcome;
}

std::vector<CheckOutcome> verify_checks(const Plan& plan, const Image& image) {
  std::vector<CheckOutcome> outcomes;
  outcomes.reserve(plan.nodes.size());
  for (std::size_t i = 0; i < plan.nodes.size(); ++i) outcomes.push_back(verify_check(plan, i, image));
  return outcomes;
}

std::vector<CheckOutcome> verify_differing_checks(const Plan& plan, const Image& image, const Image& other,
                                                  std::vector<CheckOutcome> outcomes_of_other) {
  for (std::size_t node = 0; node < outcomes_of_other.size(); ++node) {
    if (differs_for(plan.nodes[node], image, other))
      outcomes_of_other[node] = verify_check(plan, node, image);
  }
  return outcomes_of_other;
}

bool any_fails(const std::vector<CheckOutcome>& outcomes) {
  return std::ranges::find(outcomes, CheckState::kFails, &CheckOutcome::state) != outcomes.end();
}

Status require_holding(const Plan& plan, const std::vector<CheckOutcome>& outcomes) {
  for (const CheckOutcome& outcome : outcomes) {
    if (outcome.state != CheckState::kFails) continue;
    if (outcome.is_copy) {
      return fail({Reason::kCopyOneSided, "", outcome.name + ", " + outcome.detail,
                   "copy and original that differ", "a copy that repeats its original",
                   "run correct, which brings the copy along"});
    }
    const std::string fault = likely_fault(outcome);
    return fail(
        {Reason::kChecksumFails, "",
         outcome.name + (outcome.wrong ? ", " + place_text(*plan.map, *outcome.wrong) : ""),
         outcome.is_rule ? "value " + outcome.computed : "stored " + outcome.stored,
         outcome.is_rule ? "value " + outcome.stored : "computed " + outcome.computed,
         "run correct after an edit; on a first read, read the controller again or mend the region map" +
             (fault.empty() ? fault : " (" + fault + ")")});
  }
  return {};
}

}  // namespace calseal
