// What every parsed region map must satisfy, written plainly and apart from the parser.
#pragma once

#include <string>

#include "calseal/map/region_map.h"

namespace calseal {

// Name of the first part that breaks a promise of region_map.h; empty when the map is sound.
inline std::string unsound_part(const RegionMap& map) {
  if (map.digest != compute_sha256(map.text)) return "digest";
  const auto inside = [&](const Place& place) {
    return place.memory < map.memories.size() && !place.range.empty() &&
           map.memories[place.memory].extent.contains(place.range);
  };
  std::uint64_t total = 0;
  for (const MemoryDeclaration& memory : map.memories) {
    total += memory.extent.size();
    if (memory.extent.end > kAddressLimit || total > kImageLimit) return "memory " + memory.name;
  }
  for (std::size_t i = 0; i < map.regions.size(); ++i) {
    if (!inside(map.regions[i].place)) return "region " + map.regions[i].name;
    if (i > 0 && map.regions[i].place < map.regions[i - 1].place) return "order of regions";
  }
  for (const PermittedPatch& patch : map.patches) {
    if (!inside(patch.place) || patch.place.range.size() != patch.before.size()) return "patch " + patch.name;
  }
  for (const Copy& copy : map.copies) {
    if (!inside(copy.to) || !inside(copy.of) || copy.to.range.size() != copy.of.range.size())
      return "copy " + copy.name;
    if (copy.active_bank && !inside(copy.active_bank->place)) return "bank of copy " + copy.name;
  }
  for (const Checksum& checksum : map.checksums) {
    const std::string what = "checksum " + checksum.name;
    if (checksum.slots.empty() != checksum.rule.has_value()) return what;
    for (const Coverage& part : checksum.coverage) {
      if (const auto* range = std::get_if<CoverageRange>(&part); range != nullptr && !inside(range->place))
        return what;
      if (const auto* table = std::get_if<CoverageTable>(&part)) {
        const DescriptorTable& t = table->table;
        if (!inside({t.memory, {t.at, t.at + t.records * t.record_size}}) ||
            t.points_into >= map.memories.size())
          return what;
      }
    }
    for (const Substitute& substitute : checksum.substitutes) {
      if (!inside(substitute.place)) return what;
    }
    for (const Slot& slot : checksum.slots) {
      if (!inside(slot.place) || slot.bits < 1 || slot.from < 0) return what;
    }
    if (checksum.rule && checksum.rule->balance && !inside(*checksum.rule->balance)) return what;
  }
  for (const IdentityField& field : map.identity) {
    if (!inside(field.place)) return "field " + field.name;
  }
  for (const SignedPart& part : map.signed_parts) {
    for (const Place& place : part.places) {
      if (!inside(place)) return "signed part " + part.name;
    }
  }
  for (std::size_t i = 0; i < map.sectors.size(); ++i) {
    if (!inside(map.sectors[i]) || (i > 0 && map.sectors[i] < map.sectors[i - 1])) return "sectors";
  }
  for (const auto& match : map.recognition.all) {
    if (!inside(match.place) || match.mask.size() != match.bytes.size()) return "recognition";
  }
  for (const FormDeclaration& form : map.forms) {
    for (const auto& block : form.blocks) {
      if (block.kind == FormDeclaration::Block::Kind::kMemory && !inside(block.place))
        return "form " + form.name;
    }
  }
  return "";
}

}  // namespace calseal
