#include "calseal/check/cautions.h"

#include <algorithm>
#include <optional>

#include "calseal/base/range_set.h"
#include "calseal/base/text.h"
#include "calseal/map/segments.h"

namespace calseal {
namespace {

constexpr std::size_t kListed = 70;  // bytes of a line that a list may take

// "a, b and 3 more", within what a line has room for.
std::string listed(const std::vector<std::string>& words) {
  std::string text;
  std::size_t told = 0;
  for (const std::string& word : words) {
    if (text.size() + word.size() > kListed) break;
    text += (told == 0 ? "" : ", ") + word;
    ++told;
  }
  if (told == words.size()) return text;
  return text + (told == 0 ? "" : " and ") + std::to_string(words.size() - told) + (told == 0 ? "" : " more");
}

std::optional<Caution> partial_base(const ManifestController& controller, const RegionMap& map) {
  std::vector<std::string> missing;
  std::uint64_t known = 0, all = 0;
  for (const ManifestMemory& memory : controller.memories) {
    const std::size_t index = map.memory_index(memory.name);
    RangeSet rest = index < map.memories.size() ? segments_of(map.memories[index]) : RangeSet(memory.extent);
    all += rest.size();
    for (const Range& range : memory.known) {
      known += range.size();
      rest.remove(range);
    }
    for (const Range& range : rest.ranges()) missing.push_back(memory.name + " " + range_text(range));
  }
  if (missing.empty()) return std::nullopt;
  return Caution{"base-partial", "the first read holds " + grouped(known) + " of " + grouped(all) +
                                     " bytes; nothing is proved about " + listed(missing)};
}

std::optional<Caution> checks_in(const ManifestController& controller, CheckState state,
                                 const std::string& code, const std::string& words) {
  std::vector<std::string> names;
  for (const ManifestChecksum& check : controller.checksums) {
    if (check.state == state) names.push_back(check.name);
  }
  if (names.empty()) return std::nullopt;
  return Caution{code, std::to_string(names.size()) + " of " + std::to_string(controller.checksums.size()) +
                           " checksums and copies " + words + ": " + listed(names)};
}

std::optional<Caution> vehicle_not_read(const ManifestController& controller) {
  std::vector<std::string> names;
  for (const ManifestBinding& binding : controller.binding) {
    if (binding.digest) return std::nullopt;
    const auto memory = std::ranges::find(controller.memories, binding.place.memory, &ManifestMemory::name);
    const bool known =
        memory != controller.memories.end() && std::ranges::any_of(memory->known, [&](const Range& range) {
          return range.contains(binding.place.range);
        });
    if (known) return std::nullopt;
    names.push_back(binding.name);
  }
  if (names.empty()) return std::nullopt;
  return Caution{"vehicle-not-read", "the vehicle cannot be told by this read, for it does not hold " +
                                         listed(names) + ": only by the vehicle reference"};
}

std::optional<Caution> verification_number(const Manifest& manifest, const RegionMap& map) {
  if (manifest.revision == 0) return std::nullopt;
  for (const IdentityField& field : map.identity) {
    if (field.kind != IdentityKind::kVerificationNumber || field.binds) continue;
    const ManifestController& controller = manifest.controller();
    const auto said = std::ranges::find(controller.identity, field.name, &ManifestIdentity::name);
    if (said == controller.identity.end() || said->text.empty()) continue;
    const std::string& memory = map.memories[field.place.memory].name;
    const bool changes = std::ranges::any_of(controller.spans, [&](const ManifestSpan& span) {
      return span.place.memory == memory && span.place.range.overlaps(field.place.range) &&
             span.before != span.after;
    });
    return Caution{"verification-number", "the calibration verification number (SAE J1979) " +
                                              std::string(changes ? "changes to " : "stays ") +
                                              printable(said->text, 40) + ": an inspection may compare it"};
  }
  return std::nullopt;
}

}  // namespace

Caution root_not_confirmed(const std::string& fingerprint) {
  return {"root-not-confirmed", "compare the fingerprint with the shop by voice: " + fingerprint};
}

Caution map_is_draft(const RegionMap& map) {
  return {"map-draft", "the region map " + map.name + " is graded draft: it is believed, not verified"};
}

std::vector<Caution> cautions_of(const Manifest& manifest, const RegionMap& map) {
  const ManifestController& controller = manifest.controller();
  std::vector<Caution> cautions;
  const auto add = [&](std::optional<Caution> caution) {
    if (caution) cautions.push_back(*std::move(caution));
  };
  add(partial_base(controller, map));
  add(checks_in(controller, CheckState::kNotProvable, "checks-not-provable",
                "read bytes that the first read does not hold"));
  add(vehicle_not_read(controller));
  add(checks_in(controller, CheckState::kFails, "received-failing",
                "do not hold in the read as it was received; the way back restores it so"));
  add(verification_number(manifest, map));
  return cautions;
}

}  // namespace calseal
