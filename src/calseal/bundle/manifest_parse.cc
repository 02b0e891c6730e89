#include <algorithm>

#include "calseal/base/json_reader.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/manifest_consistency.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::size_t kOptionLimit = 256;
constexpr std::size_t kWordsLimit = 64;  // requirements, cautions, attachments, annotations
constexpr std::size_t kListedEntryLimit = kBundleEntryLimit - 1 - kSignatureLimit;

NamedRange read_place(JsonObject& object) {
  NamedRange place;
  place.memory = read_name(object, "memory");
  place.range = read_range(object);
  return place;
}

std::vector<Range> read_ranges(JsonObject& object, std::string_view key) {
  std::vector<Range> ranges;
  for (const JsonNode& node : object.items(key, kManifestListLimit)) {
    JsonObject item(node);
    ranges.push_back(read_range(item));
    item.done();
  }
  return ranges;
}

std::vector<std::string> read_lines(JsonObject& object, std::string_view key) {
  std::vector<std::string> lines;
  for (const JsonNode& node : object.items(key, kWordsLimit)) lines.push_back(read_line(node));
  return lines;
}

CheckState read_state(JsonObject& object, std::string_view key) {
  return static_cast<CheckState>(object.choice(key, {"holds", "fails", "not-provable"}));
}

ManifestMemory read_memory(const JsonNode& node) {
  JsonObject object(node);
  ManifestMemory memory;
  memory.name = read_name(object, "name");
  const std::uint64_t origin = object.address("origin");
  const std::uint64_t size = object.integer("size", 1, kImageLimit);
  const auto extent = make_range(origin, size, kAddressLimit);
  if (!extent)
    node.refuse(Reason::kJsonValue, address_text(origin) + " and " + grouped(size) + " bytes",
                "an end of at most 2^32");
  memory.extent = extent.value_or(Range{});
  memory.known = read_ranges(object, "known");
  object.done();
  return memory;
}

ManifestIdentity read_identity(const JsonNode& node) {
  JsonObject object(node);
  ManifestIdentity field;
  field.name = read_name(object, "name");
  field.text = object.text("text", kFieldTextLimit);
  object.done();
  return field;
}

ManifestBinding read_binding(const JsonNode& node) {
  JsonObject object(node);
  ManifestBinding field;
  field.name = read_name(object, "name");
  field.place = read_place(object);
  field.digest = read_optional_digest(object, "digest");
  object.done();
  return field;
}

ManifestSpan read_span(const JsonNode& node) {
  JsonObject object(node);
  ManifestSpan span;
  span.place = read_place(object);
  span.kind = static_cast<SpanKind>(
      object.choice("kind", {"locked", "editable", "derived", "floating", "volatile", "binding"}));
  span.before = read_optional_digest(object, "before");
  span.after = read_optional_digest(object, "after");
  object.done();
  return span;
}

ManifestFile read_manifest_file(const JsonNode& node) {
  JsonObject object(node);
  ManifestFile file;
  file.memory = read_optional_name(object, "memory");
  file.form = read_name(object, "form");
  file.size = object.integer("size", 1, kBundleSizeLimit);
  file.digest = read_digest(object, "digest");
  object.done();
  return file;
}

ManifestChecksum read_checksum(const JsonNode& node) {
  JsonObject object(node);
  ManifestChecksum checksum;
  checksum.name = read_line(object, "name");
  checksum.state = read_state(object, "state");
  checksum.value = object.text("value", kFieldTextLimit);
  object.done();
  return checksum;
}

ManifestPatch read_patch(const JsonNode& node) {
  JsonObject object(node);
  ManifestPatch patch;
  patch.name = read_name(object, "name");
  patch.in_base = object.choice("base", {"before", "after"}) == 1;
  patch.in_result = object.choice("result", {"before", "after"}) == 1;
  object.done();
  return patch;
}

PayloadPart read_part(const JsonNode& node) {
  JsonObject object(node);
  PayloadPart part;
  part.memory = read_name(object, "memory");
  part.entry = read_line(object, "entry");
  part.ranges = read_ranges(object, "ranges");
  object.done();
  return part;
}

void read_region_map(JsonObject& parent, ManifestController& controller) {
  const auto node = parent.required("region_map");
  if (!node) return;
  JsonObject object(*node);
  controller.map_name = read_name(object, "name");
  controller.map_version = object.integer("version", 1, kJsonIntegerLimit);
  controller.map_grade = object.choice("grade", {"draft", "verified"}) == 0 ? "draft" : "verified";
  controller.map_digest = read_digest(object, "digest");
  object.done();
}

void read_pinned(JsonObject& parent, ManifestController& controller) {
  const auto node = parent.required("pinned");
  if (!node) return;
  JsonObject object(*node);
  controller.pinned_before = read_digest(object, "before");
  controller.pinned_after = read_digest(object, "after");
  object.done();
}

void read_payload(JsonObject& parent, ManifestController& controller) {
  const auto node = parent.required("payload");
  if (!node) return;
  JsonObject object(*node);
  controller.payload_kind =
      object.choice("kind", {"full", "areas"}) == 0 ? PayloadKind::kFull : PayloadKind::kAreas;
  for (const JsonNode& part : object.items("parts", kMemoryLimit))
    controller.payload.push_back(read_part(part));
  object.done();
}

// The items of a list, each read by `read`.
template <typename Item>
void read_list(JsonObject& object, std::string_view key, std::size_t limit, Item (*read)(const JsonNode&),
               std::vector<Item>& into) {
  for (const JsonNode& node : object.items(key, limit)) {
    into.push_back(read(node));
    if (!node.document().ok()) return;
  }
}

NamedRange read_write_range(const JsonNode& node) {
  JsonObject object(node);
  NamedRange place = read_place(object);
  object.done();
  return place;
}

ManifestController read_controller(const JsonNode& node) {
  JsonObject object(node);
  ManifestController controller;
  controller.name = read_name(object, "name");
  read_region_map(object, controller);
  read_list(object, "memories", kMemoryLimit, read_memory, controller.memories);
  read_list(object, "identity", kManifestListLimit, read_identity, controller.identity);
  read_list(object, "binding", kManifestListLimit, read_binding, controller.binding);
  read_list(object, "spans", kManifestListLimit, read_span, controller.spans);
  read_pinned(object, controller);
  read_list(object, "files", kMemoryLimit, read_manifest_file, controller.files);
  read_list(object, "checksums", kManifestListLimit, read_checksum, controller.checksums);
  read_list(object, "patches", kManifestListLimit, read_patch, controller.patches);
  read_list(object, "write_ranges", kManifestListLimit, read_write_range, controller.write_ranges);
  read_payload(object, controller);
  object.done();
  return controller;
}

ManifestOption read_option(const JsonNode& node) {
  JsonObject object(node);
  ManifestOption option;
  option.name = read_name(object, "name");
  option.title = read_line(object, "title");
  option.digest = read_digest(object, "digest");
  object.done();
  return option;
}

ManifestAttachment read_attachment(const JsonNode& node) {
  JsonObject object(node);
  ManifestAttachment attachment;
  attachment.entry = read_line(object, "entry");
  attachment.title = read_line(object, "title");
  object.done();
  return attachment;
}

std::pair<std::string, std::string> read_annotation(const JsonNode& node) {
  const std::vector<JsonNode> pair = node.items(2);
  if (pair.size() != 2) {
    node.refuse(Reason::kJsonValue, std::to_string(pair.size()) + " elements", "[name, text]");
    return {};
  }
  return {read_name(pair[0]), pair[1].text(kTextLimit)};
}

ManifestEntry read_entry(const JsonNode& node) {
  JsonObject object(node);
  ManifestEntry entry;
  entry.name = read_line(object, "name");
  entry.deflated = object.choice("method", {"stored", "deflated"}) == 1;
  entry.stored_size = object.integer("stored_size", 0, kEntrySizeLimit);
  entry.stored_digest = read_digest(object, "stored_digest");
  entry.size = object.integer("size", 0, kEntrySizeLimit);
  entry.crc32 = static_cast<std::uint32_t>(object.address("crc32"));
  entry.digest = read_digest(object, "digest");
  object.done();
  return entry;
}

void read_base(JsonObject& parent, Manifest& manifest) {
  const auto node = parent.required("base");
  if (!node) return;
  JsonObject object(*node);
  manifest.base_number = object.integer("number", 1, kBaseLimit);
  manifest.base_reason = read_line(object, "reason");
  object.done();
}

void read_format(JsonObject& object) {
  const auto node = object.required("format");
  if (!node) return;
  const std::uint64_t format = node->integer(0, kJsonIntegerLimit);
  if (format != kFormat) node->refuse(Reason::kFormatUnknown, std::to_string(format), "format 1");
}

Manifest read_fields(const JsonNode& node) {
  JsonObject object(node);
  Manifest manifest;
  object.text("calseal");
  read_format(object);
  manifest.job = read_name(object, "job");
  read_base(object, manifest);
  manifest.revision = object.integer("revision", 0, kRevisionLimit);
  manifest.sequence = object.integer("sequence", 1, kSequenceLimit);
  manifest.parent = read_optional_digest(object, "parent");
  manifest.set = read_optional_digest(object, "set");
  manifest.claimed_time = read_time(object, "claimed_time");
  manifest.trial = object.boolean("trial");
  manifest.expires = read_optional_time(object, "expires");
  for (const JsonNode& role : object.items("required_roles", 2)) {
    manifest.required_roles.push_back(role.choice({"author", "reviewer"}) == 0 ? "author" : "reviewer");
  }
  manifest.title = read_line(object, "title");
  manifest.notes = object.text("notes", kTextLimit);
  manifest.vehicle_reference = read_line(object, "vehicle_reference");
  manifest.salt_digest = read_optional_digest(object, "salt_digest");
  read_list(object, "controllers", 1, read_controller, manifest.controllers);
  if (const auto list = object.optional("controllers"); list && manifest.controllers.empty()) {
    list->refuse(Reason::kJsonValue, "no controller", "exactly one controller");
  }
  for (const JsonNode& digest : object.items("permitted_returns", kReturnLimit)) {
    manifest.permitted_returns.push_back(read_digest(digest));
  }
  for (const JsonNode& approval : object.items("approvals", kApprovalLimit)) {
    manifest.approvals.push_back(approval.text(kTextLimit));
  }
  read_list(object, "options", kOptionLimit, read_option, manifest.options);
  manifest.requirements = read_lines(object, "requirements");
  manifest.cautions = read_lines(object, "cautions");
  read_list(object, "attachments", kWordsLimit, read_attachment, manifest.attachments);
  read_list(object, "annotations", kWordsLimit, read_annotation, manifest.annotations);
  manifest.tool = read_line(object, "tool");
  read_list(object, "entries", kListedEntryLimit, read_entry, manifest.entries);
  object.done();
  return manifest;
}

// The format number where the canonical form has it, before anything else is read: a later format may look
// different from there on. Any other text is left to the strict reading.
Status check_format(std::string_view text, const std::string& name) {
  constexpr std::string_view kKey = R"("format":)";
  std::string_view rest = text.substr(kRevisionLiteral.size());
  if (!rest.starts_with(kKey)) return {};
  rest.remove_prefix(kKey.size());
  const std::string_view digits = rest.substr(0, rest.find_first_not_of("0123456789"));
  if (digits.empty() || digits == "1" || digits.size() > 16 || (digits.size() > 1 && digits[0] == '0'))
    return {};
  return fail({Reason::kFormatUnknown, name, "/format", std::string(digits), "format 1",
               "use a newer calseal for this file"});
}

}  // namespace

Result<Manifest> parse_manifest(ByteView bytes, const std::string& name) {
  const std::string_view text = text_of(bytes);
  if (bytes.size() > kManifestSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(bytes.size()) + " bytes",
                 "a manifest of at most " + grouped(kManifestSizeLimit) + " bytes", "do not use this file"});
  }
  CALSEAL_CHECK(check_kind(bytes, kRevisionLiteral, name));
  CALSEAL_CHECK(check_format(text, name));
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text, name));
  JsonDocument document(text, name);
  Manifest manifest = read_fields(JsonNode(document, tree));
  if (!document.ok()) return fail(document.error());
  CALSEAL_CHECK(check_canonical(bytes, write_manifest(manifest), name));
  CALSEAL_CHECK(check_manifest_consistency(manifest, name));
  return manifest;
}

}  // namespace calseal
