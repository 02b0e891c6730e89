#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/map/identity.h"
#include "calseal/map/wrapping.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/plan_report.h"
#include "calseal/report/changes/region_map_report.h"

namespace calseal {
namespace {

// `head` with the members of `rest` behind its own.
JsonValue joined(JsonValue head, JsonValue rest) {
  for (auto& member : rest.members) head.members.push_back(std::move(member));
  return head;
}

JsonValue named_place(const RegionMap& map, const std::string& name, const Place& place) {
  return joined(json_object({{"name", json(name)}}), place_json(map, place));
}

JsonValue memories_json(const RegionMap& map) {
  return json_array(map.memories, [&](const MemoryDeclaration& memory) {
    return json_object({{"name", json(memory.name)},
                        {"origin", json(address_text(memory.extent.begin))},
                        {"size", json(memory.extent.size())},
                        {"fill", json(to_hex(ByteView(&memory.fill, 1)))}});
  });
}

JsonValue checksums_json(const RegionMap& map) {
  return json_array(map.checksums, [&](const Checksum& checksum) {
    std::vector<Place> places;
    for (const Slot& slot : checksum.slots) places.push_back(slot.place);
    if (checksum.rule && checksum.rule->balance) places.push_back(*checksum.rule->balance);
    return json_object(
        {{"name", json(checksum.name)},
         {"algorithm", json(checksum.algorithm.name)},
         {"unconfirmed", json(checksum.is_unconfirmed())},
         {"bits", json(checksum.bits)},
         {"rule",
          json(checksum.rule ? hex_number(checksum.rule->equals, (checksum.bits + 3) / 4) : std::string())},
         {"places", json_array(places, [&](const Place& place) { return place_json(map, place); })},
         {"coverage", json_strings(coverage_words(map, checksum))}});
  });
}

JsonValue identity_json(const RegionMapView& view) {
  std::vector<IdentityValue> values;
  if (view.image != nullptr) values = read_identity(*view.map, *view.image);
  std::size_t i = 0;
  return json_array(view.map->identity, [&](const IdentityField& field) {
    JsonValue value =
        joined(named_place(*view.map, field.name, field.place),
               json_object({{"kind", json(identity_kind_name(field.kind))}, {"binds", json(field.binds)}}));
    if (!values.empty()) {
      const IdentityValue& read = values[i++];
      value = joined(std::move(value), json_object({{"known", json(read.known)},
                                                    {"blank", json(read.blank)},
                                                    {"well_formed", json(read.well_formed)},
                                                    {"text", json(read.text)},
                                                    {"caution", json(read.caution)}}));
    }
    return value;
  });
}

JsonValue forms_json(const RegionMap& map) {
  return json_array(map.forms, [&](const FormDeclaration& form) {
    std::vector<std::string> own;
    if (form.file) {
      for (const Checksum& checksum : form.file->checksums) own.push_back(checksum.name);
    }
    const auto place = [&](const Place& p) { return place_json(map, p); };
    return json_object({{"name", json(form.name)},
                        {"readable", json(form.is_readable())},
                        {"size", json(wrapping_size(form))},
                        {"parts", json_array(wrapped_parts(form),
                                             [&](const WrappedPart& part) { return place(part.place); })},
                        {"omitted", json_array(form.omitted, place)},
                        {"checksums", json_strings(own)}});
  });
}

}  // namespace

JsonValue region_map_view_json(const RegionMapView& view) {
  const RegionMap& map = *view.map;
  return json_object(
      {{"region_map", region_map_json(map)},
       {"note", json(map.note)},
       {"memories", memories_json(map)},
       {"regions", json_array(map.regions,
                              [&](const Region& region) {
                                return joined(named_place(map, region.name, region.place),
                                              json_object({{"policy", json(policy_name(region.policy))},
                                                           {"note", json(*region.note)}}));
                              })},
       {"permitted_patches", json_array(map.patches,
                                        [&](const PermittedPatch& patch) {
                                          return joined(named_place(map, patch.name, patch.place),
                                                        json_object({{"before", json(to_hex(patch.before))},
                                                                     {"after", json(to_hex(patch.after))}}));
                                        })},
       {"copies", json_array(map.copies,
                             [&](const Copy& copy) {
                               return joined(named_place(map, copy.name, copy.to),
                                             json_object({{"of", place_json(map, copy.of)}}));
                             })},
       {"checksums", checksums_json(map)},
       {"plan_known", json(view.plan != nullptr)},
       {"plan", view.plan != nullptr ? plan_json(*view.plan) : json_strings({})},
       {"identity", identity_json(view)},
       {"signed_parts", json_array(map.signed_parts,
                                   [&](const SignedPart& part) {
                                     return json_object(
                                         {{"name", json(part.name)},
                                          {"places", json_array(part.places, [&](const Place& p) {
                                             return place_json(map, p);
                                           })}});
                                   })},
       {"erase_sectors", json_array(map.sectors, [&](const Place& place) { return place_json(map, place); })},
       {"forms", forms_json(map)},
       {"succeeds", json(map.succeeds ? digest_text(*map.succeeds) : std::string())},
       {"evidence",
        json_object({{"author", json(map.evidence.author)},
                     {"verified_on", json_array(map.evidence.verified_on,
                                                [](const Sha256& d) { return json(digest_text(d)); })},
                     {"guesses", json_strings(map.evidence.guesses)}})}});
}

}  // namespace calseal
