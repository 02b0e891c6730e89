#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

JsonValue json_range(const Range& range) {
  return json_object({{"start", json(address_text(range.begin))}, {"size", json(range.size())}});
}

JsonValue json_place(const NamedRange& place) {
  return json_object({{"memory", json(place.memory)},
                      {"start", json(address_text(place.range.begin))},
                      {"size", json(place.range.size())}});
}

JsonValue json_memory(const ManifestMemory& memory) {
  return json_object({{"name", json(memory.name)},
                      {"origin", json(address_text(memory.extent.begin))},
                      {"size", json(memory.extent.size())},
                      {"known", json_array(memory.known, json_range)}});
}

JsonValue json_identity(const ManifestIdentity& field) {
  return json_object({{"name", json(field.name)},
                      {"kind", json(field.kind)},
                      {"before", json(field.before)},
                      {"after", json(field.after)}});
}

JsonValue json_binding(const ManifestBinding& field) {
  return json_object({{"name", json(field.name)},
                      {"memory", json(field.place.memory)},
                      {"start", json(address_text(field.place.range.begin))},
                      {"size", json(field.place.range.size())},
                      {"digest", json_digest(field.digest)}});
}

JsonValue json_span(const ManifestSpan& span) {
  return json_object({{"memory", json(span.place.memory)},
                      {"start", json(address_text(span.place.range.begin))},
                      {"size", json(span.place.range.size())},
                      {"kind", json(span_kind_name(span.kind))},
                      {"before", json_digest(span.before)},
                      {"after", json_digest(span.after)}});
}

JsonValue json_file(const ManifestFile& file) {
  return json_object({{"memory", json(file.memory)},
                      {"form", json(file.form)},
                      {"size", json(file.size)},
                      {"digest", json_digest(file.digest)}});
}

JsonValue json_checksum(const ManifestChecksum& checksum) {
  return json_object({{"name", json(checksum.name)},
                      {"state_before", json(check_state_name(checksum.state_before))},
                      {"state_after", json(check_state_name(checksum.state_after))},
                      {"before", json(checksum.before)},
                      {"after", json(checksum.after)}});
}

JsonValue json_patch(const ManifestPatch& patch) {
  return json_object({{"name", json(patch.name)}, {"state", json(patch.applied ? "after" : "before")}});
}

JsonValue json_part(const PayloadPart& part) {
  return json_object({{"memory", json(part.memory)},
                      {"entry", json(part.entry)},
                      {"ranges", json_array(part.ranges, json_range)}});
}

JsonValue json_controller(const ManifestController& controller) {
  return json_object(
      {{"name", json(controller.name)},
       {"region_map", json_object({{"name", json(controller.map_name)},
                                   {"version", json(controller.map_version)},
                                   {"grade", json(controller.map_grade)},
                                   {"digest", json_digest(controller.map_digest)}})},
       {"memories", json_array(controller.memories, json_memory)},
       {"identity", json_array(controller.identity, json_identity)},
       {"binding", json_array(controller.binding, json_binding)},
       {"spans", json_array(controller.spans, json_span)},
       {"pinned", json_object({{"before", json_digest(controller.pinned_before)},
                               {"after", json_digest(controller.pinned_after)}})},
       {"files", json_array(controller.files, json_file)},
       {"checksums", json_array(controller.checksums, json_checksum)},
       {"patches", json_array(controller.patches, json_patch)},
       {"write_ranges", json_array(controller.write_ranges, json_place)},
       {"payload",
        json_object({{"kind", json(controller.payload_kind == PayloadKind::kFull ? "full" : "areas")},
                     {"parts", json_array(controller.payload, json_part)}})}});
}

JsonValue json_option(const ManifestOption& option) {
  return json_object(
      {{"name", json(option.name)}, {"title", json(option.title)}, {"digest", json_digest(option.digest)}});
}

JsonValue json_item(const ManifestItem& item) {
  return json_object({{"name", json(item.name)},
                      {"region", json(item.region)},
                      {"unit", json(item.unit)},
                      {"before", json(item.before)},
                      {"after", json(item.after)}});
}

JsonValue json_attachment(const ManifestAttachment& attachment) {
  return json_object({{"entry", json(attachment.entry)}, {"title", json(attachment.title)}});
}

JsonValue json_annotation(const std::pair<std::string, std::string>& annotation) {
  JsonValue pair;
  pair.kind = JsonValue::Kind::kArray;
  pair.items = {json(annotation.first), json(annotation.second)};
  return pair;
}

JsonValue json_entry(const ManifestEntry& entry) {
  return json_object({{"name", json(entry.name)},
                      {"method", json(entry.deflated ? "deflated" : "stored")},
                      {"stored_size", json(entry.stored_size)},
                      {"stored_digest", json_digest(entry.stored_digest)},
                      {"size", json(entry.size)},
                      {"crc32", json(hex_number(entry.crc32, 8))},
                      {"digest", json_digest(entry.digest)}});
}

}  // namespace

const ManifestEntry* Manifest::find_entry(std::string_view name) const {
  for (const ManifestEntry& entry : entries) {
    if (entry.name == name) return &entry;
  }
  return nullptr;
}

std::string write_manifest(const Manifest& manifest) {
  const auto digest_item = [](const Sha256& digest) { return json_digest(digest); };
  return canonical_json(json_object(
      {{"calseal", json("revision/1")},
       {"format", json(manifest.format)},
       {"job", json(manifest.job)},
       {"base",
        json_object({{"number", json(manifest.base_number)}, {"reason", json(manifest.base_reason)}})},
       {"revision", json(manifest.revision)},
       {"sequence", json(manifest.sequence)},
       {"parent", json_digest(manifest.parent)},
       {"set", json_digest(manifest.set)},
       {"claimed_time", json(manifest.claimed_time)},
       {"trial", json(manifest.trial)},
       {"expires", json(manifest.expires)},
       {"required_roles", json_strings(manifest.required_roles)},
       {"title", json(manifest.title)},
       {"notes", json(manifest.notes)},
       {"vehicle_reference", json(manifest.vehicle_reference)},
       {"salt_digest", json_digest(manifest.salt_digest)},
       {"controllers", json_array(manifest.controllers, json_controller)},
       {"permitted_returns", json_array(manifest.permitted_returns, digest_item)},
       {"options", json_array(manifest.options, json_option)},
       {"items", json_array(manifest.items, json_item)},
       {"requirements", json_strings(manifest.requirements)},
       {"cautions", json_strings(manifest.cautions)},
       {"attachments", json_array(manifest.attachments, json_attachment)},
       {"annotations", json_array(manifest.annotations, json_annotation)},
       {"tool", json(manifest.tool)},
       {"entries", json_array(manifest.entries, json_entry)}}));
}

}  // namespace calseal
