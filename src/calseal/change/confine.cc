#include "calseal/change/confine.h"

#include <algorithm>
#include <optional>
#include <utility>

#include "calseal/base/range_set.h"
#include "calseal/base/text.h"
#include "calseal/map/identity.h"
#include "calseal/map/likely_fault.h"

namespace calseal {
namespace {

// By memory: bytes under a manufacturer's signature, and bytes of permitted patches.
std::vector<RangeSet> signed_bytes(const RegionMap& map) {
  std::vector<RangeSet> sets(map.memories.size());
  for (const SignedPart& part : map.signed_parts) {
    for (const Place& place : part.places) sets[place.memory].add(place.range);
  }
  return sets;
}

std::vector<RangeSet> patch_bytes(const RegionMap& map) {
  std::vector<RangeSet> sets(map.memories.size());
  for (const PermittedPatch& patch : map.patches) sets[patch.place.memory].add(patch.place.range);
  return sets;
}

std::string where(const RegionMap& map, const ChangedRange& change) {
  std::string text = place_text(map, change.place);
  if (!change.region.empty()) text += " in region " + change.region;
  if (!change.owner.empty()) text += " (" + change.owner + ")";
  return text;
}

// Those of the first run that is known.
std::string bytes_at(const Image& image, const Place& place) {
  const Memory& memory = image.memories[place.memory];
  const RangeSet known = memory.known.within(place.range);
  return known.empty() ? "unknown bytes" : hex_excerpt(memory.view(known.ranges().front()));
}

// Whether bytes of a place that both images know differ.
bool differs(const Image& before, const Image& after, const Place& place) {
  const Memory& a = before.memories[place.memory];
  const Memory& b = after.memories[place.memory];
  const RangeSet known = a.known.within(place.range).intersect(b.known.within(place.range));
  return !std::ranges::all_of(
      known.ranges(), [&](const Range& range) { return std::ranges::equal(a.view(range), b.view(range)); });
}

Error violation(const RegionMap& map, const ChangedRange& change, const Image& before, const Image& after,
                Reason reason, std::string next) {
  return {reason,
          "",
          where(map, change),
          bytes_at(after, change.place),
          bytes_at(before, change.place) + " as in the base",
          std::move(next)};
}

// True when all bytes of the patch that the image knows are those of `bytes`.
bool stands_as(const PermittedPatch& patch, const Bytes& bytes, const Image& image) {
  const Memory& memory = image.memories[patch.place.memory];
  const RangeSet known = memory.known.within(patch.place.range);
  return std::ranges::all_of(known.ranges(), [&](const Range& range) {
    const auto at = static_cast<std::size_t>(range.begin - patch.place.range.begin);
    return std::ranges::equal(ByteView(bytes).subspan(at, static_cast<std::size_t>(range.size())),
                              memory.view(range));
  });
}

std::optional<Error> patch_fault(const RegionMap& map, const PermittedPatch& patch, const Image& image) {
  if (stands_as(patch, patch.before, image) || stands_as(patch, patch.after, image)) return std::nullopt;
  return Error{Reason::kChangePatch,
               "",
               patch.name + ", " + place_text(map, patch.place),
               bytes_at(image, patch.place),
               hex_excerpt(patch.before) + " (before) or " + hex_excerpt(patch.after) + " (after)",
               "apply the permitted patch whole, or not at all"};
}

// The first byte of a copy that was edited and is wrong while its original stayed: correction would undo that
// edit.
std::optional<std::uint64_t> edit_of_copy_alone(const Copy& copy, const Image& before, const Image& after) {
  const Memory& to_before = before.memories[copy.to.memory];
  const Memory& of_before = before.memories[copy.of.memory];
  if (!to_before.knows(copy.to.range) || !of_before.knows(copy.of.range)) return std::nullopt;
  const ByteView to = after.memories[copy.to.memory].view(copy.to.range);
  const ByteView of = after.memories[copy.of.memory].view(copy.of.range);
  for (std::size_t i = 0; i < to.size(); ++i) {
    if (to[i] == to_before.view(copy.to.range)[i] || of[i] != of_before.view(copy.of.range)[i]) continue;
    if (to[i] != copied_byte(copy, of[i])) return i;
  }
  return std::nullopt;
}

Error derived_fault(const Plan& plan, const CheckOutcome& outcome, const Image& before, const Image& after) {
  Error error = std::move(require_holding(plan, {outcome}).error());
  if (!outcome.is_copy) {
    error.reason = Reason::kDerivedWrong;
    return error;
  }
  const Copy& copy = plan.map->copies[plan.nodes[outcome.node].index];
  if (const auto at = edit_of_copy_alone(copy, before, after)) {
    const std::uint64_t original = copy.of.range.begin + *at;
    error.next = "edit the original instead, at " +
                 place_text(*plan.map, {copy.of.memory, {original, original + 1}}) +
                 ": correct would overwrite this edit of the copy";
  }
  return error;
}

using PlacedError = std::pair<Place, Error>;

// Derived places that are wrong; a rule without a place stands behind all memories.
void add_wrong(const Plan& plan, const std::vector<CheckOutcome>& checks, const Image& before,
               const Image& after, std::vector<PlacedError>& faults) {
  const Place last{plan.map->memories.size(), {}};
  for (const CheckOutcome& outcome : checks) {
    if (outcome.state == CheckState::kFails)
      faults.emplace_back(outcome.wrong.value_or(last), derived_fault(plan, outcome, before, after));
  }
}

// Derived places that changed although nothing proves their value.
void add_not_provable(const Plan& plan, const std::vector<CheckOutcome>& checks, const Image& before,
                      const Image& after, std::vector<PlacedError>& faults) {
  for (const CheckOutcome& outcome : checks) {
    if (outcome.state != CheckState::kNotProvable) continue;
    const auto touched = std::ranges::find_if(
        outcome.places, [&](const Place& place) { return differs(before, after, place); });
    if (touched == outcome.places.end()) continue;
    faults.emplace_back(
        *touched,
        Error{Reason::kChecksumNotProvable, "", outcome.name + ", " + place_text(*plan.map, *touched),
              "a changed value, and " + outcome.detail, "the value of the base, or every byte it depends on",
              "undo the change, or give an image that is complete"});
  }
}

// Violations by changed bytes, gathered from one change after another; at most `limit` of each reason.
class ChangeViolations {
 public:
  ChangeViolations(const RegionMap& map, const Image& before, const Image& after, std::size_t limit)
      : map_(map),
        before_(before),
        after_(after),
        limit_(limit),
        signed_bytes_(signed_bytes(map)),
        patch_bytes_(patch_bytes(map)) {}

  void take(const ChangedRange& change) {
    if (change.kind == SpanKind::kLocked) {
      if (signed_bytes_[change.place.memory].contains(change.place.range)) {
        add(in_signed, change, Reason::kChangeSigned,
            "undo the change: the controller rejects this part once it is changed");
      } else if (!patch_bytes_[change.place.memory].contains(change.place.range)) {
        add(in_locked, change, Reason::kChangeLocked,
            "undo the change, or mend the region map if these bytes are calibration");
      }
    } else if (change.kind == SpanKind::kVolatile || change.kind == SpanKind::kBinding) {
      add(in_volatile, change, Reason::kChangeVolatile, "undo the change: these bytes belong to the vehicle");
    }
  }

  std::vector<Error> in_signed, in_locked, in_volatile;

 private:
  void add(std::vector<Error>& list, const ChangedRange& change, Reason reason, const char* next) {
    if (list.size() < limit_) list.push_back(violation(map_, change, before_, after_, reason, next));
  }

  const RegionMap& map_;
  const Image& before_;
  const Image& after_;
  const std::size_t limit_;
  const std::vector<RangeSet> signed_bytes_, patch_bytes_;
};

std::vector<Error> missing_bytes(const RegionMap& map, const Image& before, const Image& after) {
  std::vector<Error> errors;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    RangeSet missing = before.memories[m].known;
    missing.remove(after.memories[m].known);
    if (missing.empty()) continue;
    errors.push_back({Reason::kReadIncomplete, "", place_text(map, {m, missing.ranges().front()}),
                      "unknown bytes", "every byte that the base knows",
                      "use an image as complete as the base"});
  }
  return errors;
}

std::vector<Error> by_place(std::vector<PlacedError> faults) {
  std::ranges::stable_sort(faults, {}, &PlacedError::first);
  std::vector<Error> errors;
  for (auto& [place, error] : faults) errors.push_back(std::move(error));
  return errors;
}

std::vector<Error> broken_patches(const RegionMap& map, const Image& image) {
  std::vector<PlacedError> faults;
  for (const PermittedPatch& patch : map.patches) {
    if (auto fault = patch_fault(map, patch, image)) faults.emplace_back(patch.place, *std::move(fault));
  }
  return by_place(std::move(faults));
}

std::vector<bool> applied_patches(const RegionMap& map, const Image& image) {
  std::vector<bool> applied;
  for (const PermittedPatch& patch : map.patches) applied.push_back(is_applied(patch, image));
  return applied;
}

}  // namespace

std::uint64_t Confinement::changed_bytes() const {
  std::uint64_t total = 0;
  for (const ChangedRange& change : changes) total += change.place.range.size();
  return total;
}

bool is_applied(const PermittedPatch& patch, const Image& image) {
  return !stands_as(patch, patch.before, image) && stands_as(patch, patch.after, image);
}

Result<std::vector<bool>> patch_states(const RegionMap& map, const Image& image) {
  std::vector<bool> applied;
  for (const PermittedPatch& patch : map.patches) {
    if (auto fault = patch_fault(map, patch, image)) return fail(*std::move(fault));
    applied.push_back(is_applied(patch, image));
  }
  return applied;
}

Confinement prove_confinement(const Plan& plan, const Image& before, const Image& after) {
  return judge_changes(plan, before, after, compare_images(plan, before, after), verify_checks(plan, after));
}

Confinement prove_confinement(const Plan& plan, const Image& before, const Image& after,
                              const std::vector<CheckOutcome>& checks_before) {
  std::vector<ChangedRange> changes = compare_images(plan, before, after);
  std::vector<CheckOutcome> checks = verify_from(before, checks_before, plan, after);
  return judge_changes(plan, before, after, std::move(changes), std::move(checks));
}

std::vector<CheckOutcome> verify_from(const Image& other, std::vector<CheckOutcome> checks_of_other,
                                      const Plan& plan, const Image& image) {
  for (std::size_t m = 0; m < image.memories.size(); ++m) {
    if (image.memories[m].known != other.memories[m].known) return verify_checks(plan, image);
  }
  return verify_differing_checks(plan, image, other, std::move(checks_of_other));
}

Confinement judge_changes(const Plan& plan, const Image& before, const Image& after,
                          std::vector<ChangedRange> changes, std::vector<CheckOutcome> checks) {
  const RegionMap& map = *plan.map;
  Confinement proof;
  proof.changes = std::move(changes);
  proof.checks = std::move(checks);
  proof.patches_applied = applied_patches(map, after);
  ChangeViolations found(map, before, after, kViolationLimit);
  for (const ChangedRange& change : proof.changes) found.take(change);
  std::vector<PlacedError> derived;
  add_wrong(plan, proof.checks, before, after, derived);
  add_not_provable(plan, proof.checks, before, after, derived);
  const auto add = [&](std::vector<Error> errors) {
    for (Error& error : errors) proof.violations.push_back(std::move(error));
  };
  add(missing_bytes(map, before, after));
  add(std::move(found.in_signed));
  add(broken_patches(map, after));
  add(std::move(found.in_locked));
  add(std::move(found.in_volatile));
  add(by_place(std::move(derived)));
  return proof;
}

Confined confine(const Plan& plan, const Image& before, const Image& after,
                 const std::vector<CheckOutcome>& checks) {
  const RegionMap& map = *plan.map;
  Confined confined;
  confined.patches_applied = applied_patches(map, after);
  ChangeViolations found(map, before, after, 1);
  walk_changes(plan, before, after, [&](const ChangedRange& change) {
    confined.changed_bytes += change.place.range.size();
    found.take(change);
  });
  std::vector<PlacedError> not_provable;
  add_not_provable(plan, checks, before, after, not_provable);
  for (const auto& errors : {missing_bytes(map, before, after), found.in_signed, broken_patches(map, after),
                             found.in_locked, found.in_volatile, by_place(std::move(not_provable))}) {
    if (!confined.violation && !errors.empty()) confined.violation = errors.front();
  }
  return confined;
}

Status require_confined(const Confinement& proof) {
  if (proof.holds()) return {};
  Error error = proof.violations.front();
  if (proof.violations.size() > 1)
    error.place += ", and " + std::to_string(proof.violations.size() - 1) + " more";
  return fail(std::move(error));
}

Status recognise_received(const Plan& plan, const Image& base) {
  CALSEAL_CHECK(recognise_family(*plan.map, base));
  CALSEAL_CHECK(patch_states(*plan.map, base));
  return {};
}

Status believe_map(const Plan& plan, const Image& base) {
  return believe_map(plan, base, verify_checks(plan, base));
}

Status believe_map(const Plan& plan, const Image& base, const std::vector<CheckOutcome>& checks) {
  CALSEAL_CHECK(recognise_family(*plan.map, base));
  for (const CheckOutcome& outcome : checks) {
    if (outcome.state != CheckState::kFails) continue;
    Error error = std::move(require_holding(plan, {outcome}).error());
    error.reason = Reason::kMapNotBelieved;
    const std::string fault = likely_fault(outcome);
    error.next = "mend the region map" + (fault.empty() ? fault : " (" + fault + ")") +
                 " until it holds on the first read, or read the controller again";
    return fail(std::move(error));
  }
  CALSEAL_CHECK(patch_states(*plan.map, base));
  return {};
}

std::uint64_t editable_share(const Plan& plan, const Image& image) {
  std::uint64_t known = 0;
  std::uint64_t editable = 0;
  for (std::size_t m = 0; m < image.memories.size(); ++m) {
    known += image.memories[m].known.size();
    editable += plan.bytes_of(m, SpanKind::kEditable).intersect(image.memories[m].known).size();
  }
  return known == 0 ? 0 : editable * 10000 / known;
}

}  // namespace calseal
