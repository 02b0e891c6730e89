// Who may claim which byte: overlaps and policies over the expanded map.
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

// Something that owns its bytes. `kind` reads as in "slot of checksum".
struct Claim {
  Place place;
  const char* kind;
  const std::string* name;
  Where where;
};

std::string claim_text(const Draft& draft, const Claim& claim) {
  std::string text = claim.kind;
  if (claim.name != nullptr) text += " \"" + *claim.name + "\"";
  return text + " at " + place_text(draft.map, claim.place);
}

// Sorts by place and refuses the first claim, in that order, that shares a byte with one before it.
void refuse_overlaps(Draft& draft, std::vector<Claim>& claims, const char* expected) {
  std::stable_sort(claims.begin(), claims.end(),
                   [](const Claim& a, const Claim& b) { return a.place < b.place; });
  const Claim* last = nullptr;  // of those so far, the one that reaches furthest
  for (const Claim& claim : claims) {
    if (last != nullptr && last->place.memory == claim.place.memory &&
        last->place.range.overlaps(claim.place.range)) {
      draft.refuse(Phase::kOverlaps, Reason::kMapOverlap, *claim.where,
                   claim_text(draft, claim) + ", and " + claim_text(draft, *last), expected,
                   "correct start or size of one of the two");
      return;
    }
    if (last == nullptr || last->place.memory != claim.place.memory ||
        last->place.range.end < claim.place.range.end) {
      last = &claim;
    }
  }
}

std::vector<Claim> derived_claims(const Draft& draft) {
  std::vector<Claim> claims;
  const RegionMap& map = draft.map;
  for (std::size_t i = 0; i < map.copies.size(); ++i) {
    claims.push_back({map.copies[i].to, "copy", &map.copies[i].name, draft.copies[i]});
  }
  for (std::size_t i = 0; i < map.checksums.size(); ++i) {
    const Checksum& checksum = map.checksums[i];
    const ChecksumOrigin& origin = *draft.checksums[i];
    for (std::size_t k = 0; k < checksum.slots.size(); ++k) {
      claims.push_back({checksum.slots[k].place, "slot of checksum", &checksum.name, origin.slots[k]});
    }
    if (checksum.rule && checksum.rule->balance) {
      claims.push_back({*checksum.rule->balance, "balance of checksum", &checksum.name, origin.balance});
    }
  }
  return claims;
}

std::vector<Claim> region_claims(const Draft& draft) {
  std::vector<Claim> claims;
  for (std::size_t i = 0; i < draft.map.regions.size(); ++i) {
    claims.push_back({draft.map.regions[i].place, "region", &draft.map.regions[i].name, draft.regions[i]});
  }
  return claims;
}

std::vector<Claim> exclusive_claims(const Draft& draft) {
  const RegionMap& map = draft.map;
  std::vector<Claim> claims;
  for (std::size_t i = 0; i < map.patches.size(); ++i) {
    claims.push_back({map.patches[i].place, "permitted patch", &map.patches[i].name, draft.patches[i]});
  }
  for (Claim& claim : derived_claims(draft)) claims.push_back(claim);
  for (std::size_t i = 0; i < map.identity.size(); ++i) {
    if (!map.identity[i].binds) continue;
    claims.push_back({map.identity[i].place, "binding field", &map.identity[i].name, draft.identity[i]});
  }
  for (std::size_t i = 0; i < map.signed_parts.size(); ++i) {
    for (std::size_t k = 0; k < map.signed_parts[i].places.size(); ++k) {
      claims.push_back({map.signed_parts[i].places[k], "signed part", &map.signed_parts[i].name,
                        draft.signed_places[i][k]});
    }
  }
  return claims;
}

void lint_form_overlaps(Draft& draft) {
  for (std::size_t i = 0; i < draft.map.forms.size(); ++i) {
    std::vector<Claim> claims;
    const FormDeclaration& form = draft.map.forms[i];
    for (std::size_t k = 0; k < form.blocks.size(); ++k) {
      if (form.blocks[k].kind != FormDeclaration::Block::Kind::kMemory) continue;
      claims.push_back({form.blocks[k].place, "block of form", &form.name, draft.form_blocks[i][k]});
    }
    for (std::size_t k = 0; k < form.omitted.size(); ++k) {
      claims.push_back({form.omitted[k], "omitted range of form", &form.name, draft.form_omitted[i][k]});
    }
    refuse_overlaps(draft, claims, "each byte of a memory once in a form");
  }
}

void lint_copy_sources(Draft& draft) {
  for (std::size_t i = 0; i < draft.map.copies.size(); ++i) {
    const Copy& copy = draft.map.copies[i];
    if (copy.to.memory != copy.of.memory || !copy.to.range.overlaps(copy.of.range)) continue;
    draft.refuse(Phase::kOverlaps, Reason::kMapOverlap, *draft.copies[i],
                 "copy \"" + copy.name + "\" at " + place_text(draft.map, copy.to) + " of " +
                     place_text(draft.map, copy.of),
                 "two places that do not share bytes", "correct start or size");
    return;
  }
}

void lint_substitute_overlaps(Draft& draft) {
  for (std::size_t i = 0; i < draft.map.checksums.size(); ++i) {
    const Checksum& checksum = draft.map.checksums[i];
    std::vector<Claim> claims;
    for (std::size_t k = 0; k < checksum.substitutes.size(); ++k) {
      claims.push_back({checksum.substitutes[k].place, "substitute of checksum", &checksum.name,
                        draft.checksums[i]->substitutes[k]});
    }
    refuse_overlaps(draft, claims, "one constant for each byte");
  }
}

}  // namespace

void lint_overlaps(Draft& draft) {
  lint_form_overlaps(draft);
  auto regions = region_claims(draft);
  refuse_overlaps(draft, regions, "regions that do not share bytes");
  auto exclusive = exclusive_claims(draft);
  refuse_overlaps(
      draft, exclusive,
      "patches, copies, slots, balances, binding fields and signed parts that do not share bytes");
  lint_copy_sources(draft);
  lint_substitute_overlaps(draft);
  std::vector<Claim> sectors;
  sectors.reserve(draft.map.sectors.size());
  for (std::size_t i = 0; i < draft.map.sectors.size(); ++i) {
    sectors.push_back({draft.map.sectors[i], "erase sector", nullptr, draft.sectors[i]});
  }
  refuse_overlaps(draft, sectors, "erase sectors that do not share bytes");
  std::vector<Claim> items;
  for (std::size_t i = 0; i < draft.map.items.size(); ++i) {
    items.push_back({draft.map.items[i].place, "item", &draft.map.items[i].name, draft.items[i]});
  }
  refuse_overlaps(draft, items, "calibration items that do not share bytes");
}

namespace {

// Bytes by memory.
class ByteSets {
 public:
  explicit ByteSets(std::size_t memories) : sets_(memories) {}
  void add(const Place& place) { sets_[place.memory].add(place.range); }
  bool touches(const Place& place) const { return sets_[place.memory].overlaps(place.range); }
  bool holds(const Place& place) const { return sets_[place.memory].contains(place.range); }

 private:
  std::vector<RangeSet> sets_;
};

struct Policies {
  explicit Policies(std::size_t memories)
      : editable(memories),
        vehicle(memories),
        derived_regions(memories),
        derived(memories),
        patched(memories) {}

  ByteSets editable, vehicle, derived_regions;  // regions
  ByteSets derived;                             // slots, balances, copies
  ByteSets patched;

  bool all_locked(const Place& place) const {
    return !editable.touches(place) && !vehicle.touches(place) && !derived_regions.touches(place) &&
           !derived.touches(place);
  }
};

Policies policies_of(const Draft& draft) {
  Policies policies(draft.map.memories.size());
  for (const Region& region : draft.map.regions) {
    if (region.policy == Policy::kEditable) policies.editable.add(region.place);
    if (region.policy == Policy::kVolatile) policies.vehicle.add(region.place);
    if (region.policy == Policy::kDerived) policies.derived_regions.add(region.place);
  }
  // In ascending order, which is what RangeSet::add is quick for.
  std::vector<Place> places;
  for (const Copy& copy : draft.map.copies) places.push_back(copy.to);
  for (const Checksum& checksum : draft.map.checksums) {
    for (const Place& place : checksum.written_places()) places.push_back(place);
  }
  std::sort(places.begin(), places.end());
  for (const Place& place : places) policies.derived.add(place);
  places.clear();
  for (const PermittedPatch& patch : draft.map.patches) places.push_back(patch.place);
  std::sort(places.begin(), places.end());
  for (const Place& place : places) policies.patched.add(place);
  return policies;
}

void misplace(Draft& draft, const JsonNode& where, std::string found, std::string expected,
              std::string next) {
  draft.refuse(Phase::kPolicies, Reason::kMapPolicy, where, std::move(found), std::move(expected),
               std::move(next));
}

std::string named(const Draft& draft, std::string_view kind, const std::string& name, const Place& place) {
  return std::string(kind) + " \"" + name + "\" at " + place_text(draft.map, place);
}

void lint_tables(Draft& draft, const Policies& policies) {
  for (std::size_t i = 0; i < draft.map.checksums.size(); ++i) {
    const Checksum& checksum = draft.map.checksums[i];
    for (std::size_t k = 0; k < checksum.coverage.size(); ++k) {
      const auto* covered = std::get_if<CoverageTable>(&checksum.coverage[k]);
      if (covered == nullptr) continue;
      const DescriptorTable& table = covered->table;
      const std::uint64_t first = covered->record.value_or(0);
      const std::uint64_t end = covered->record ? first + 1 : table.records;
      for (std::uint64_t record = first; record < end; ++record) {
        for (const std::uint64_t offset : {table.start_at, table.end_at}) {
          const std::uint64_t begin = table.at + record * table.record_size + offset;
          const Place value{table.memory, {begin, begin + 4}};
          if (policies.all_locked(value) && !policies.patched.touches(value)) continue;
          misplace(draft, *draft.checksums[i]->coverage[k],
                   "a value of record " + std::to_string(record) + " at " + place_text(draft.map, value) +
                       " that a revision or the vehicle may change",
                   "start and end values in locked bytes outside permitted patches",
                   "lock the table, or declare the ranges in place of it");
          return;
        }
      }
    }
  }
}

}  // namespace

void lint_policies(Draft& draft) {
  const RegionMap& map = draft.map;
  const Policies policies = policies_of(draft);
  for (std::size_t i = 0; i < map.regions.size(); ++i) {
    if (map.regions[i].policy != Policy::kDerived || policies.derived.holds(map.regions[i].place)) continue;
    misplace(
        draft, *draft.regions[i],
        named(draft, "derived region", map.regions[i].name, map.regions[i].place) + ", not all of it derived",
        "slots, balances and copies over every byte of it", "declare what derives these bytes, or lock them");
  }
  for (std::size_t i = 0; i < map.patches.size(); ++i) {
    if (policies.all_locked(map.patches[i].place)) continue;
    misplace(
        draft, *draft.patches[i],
        named(draft, "permitted patch", map.patches[i].name, map.patches[i].place) + ", not all of it locked",
        "locked bytes alone", "move the patch, or correct the regions");
  }
  for (std::size_t i = 0; i < map.copies.size(); ++i) {
    if (!map.copies[i].active_bank) continue;
    const Place& marker = map.copies[i].active_bank->place;
    if (!policies.editable.touches(marker) && !policies.derived.touches(marker)) continue;
    misplace(draft, *draft.copies[i],
             named(draft, "marker of the active bank for copy", map.copies[i].name, marker) +
                 ", in editable or derived bytes",
             "locked or volatile bytes", "correct the marker, or the regions");
  }
  lint_tables(draft, policies);
  for (std::size_t i = 0; i < map.identity.size(); ++i) {
    const IdentityField& field = map.identity[i];
    const bool names_vehicle = field.kind == IdentityKind::kVin || field.kind == IdentityKind::kSerial;
    if (names_vehicle && !field.binds) {
      misplace(draft, *draft.identity[i],
               named(draft, std::string(identity_kind_name(field.kind)), field.name, field.place) +
                   ", which does not bind",
               "a field that binds", "set \"binds\" to true: its text would be sealed in clear otherwise");
    }
    if (field.kind != IdentityKind::kRevisionMark) continue;
    const bool all_editable = policies.editable.holds(field.place) && !policies.derived.touches(field.place);
    if (all_editable && !field.binds) continue;
    misplace(draft, *draft.identity[i],
             named(draft, "revision mark", field.name, field.place) +
                 (field.binds ? ", binding" : ", not all of it editable"),
             "a field that does not bind, in editable bytes",
             field.binds ? "remove \"binds\"" : "move the mark to editable bytes that nothing uses");
  }
  for (std::size_t i = 0; i < map.signed_parts.size(); ++i) {
    for (std::size_t k = 0; k < map.signed_parts[i].places.size(); ++k) {
      if (policies.all_locked(map.signed_parts[i].places[k])) continue;
      misplace(draft, *draft.signed_places[i][k],
               named(draft, "signed part", map.signed_parts[i].name, map.signed_parts[i].places[k]) +
                   ", not all of it locked",
               "locked bytes alone", "lock these bytes: no correction can renew a manufacturer's signature");
    }
  }
}

}  // namespace calseal::region_map_draft
