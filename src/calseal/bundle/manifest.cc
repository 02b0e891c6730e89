#include "calseal/bundle/manifest.h"

#include "calseal/base/text.h"
#include "calseal/bundle/manifest_consistency.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::size_t kOptionLimit = 256;
constexpr std::size_t kWordsLimit = 64;  // requirements, cautions, attachments, annotations
constexpr std::size_t kListedEntryLimit = kBundleEntryLimit - 1 - kSignatureLimit;
constexpr Text kFieldText{kFieldTextLimit};
constexpr Choice kPatchStates{"before", "after"};
constexpr List kRanges{Record<Range>{range_fields}, kManifestListLimit};

// Any number is read, so that a later format is told from a damaged one.
struct Format : Integer {
  void read(const JsonNode& node, std::uint64_t& format) const {
    Integer::read(node, format);
    if (format != kFormat) node.refuse(Reason::kFormatUnknown, std::to_string(format), "format 1");
  }
};

// [name, text]
struct Annotation {
  void read(const JsonNode& node, std::pair<std::string, std::string>& annotation) const {
    const std::vector<JsonNode> pair = node.items(2);
    if (pair.size() != 2)
      return node.refuse(Reason::kJsonValue, std::to_string(pair.size()) + " elements", "[name, text]");
    kName.read(pair[0], annotation.first);
    annotation.second = pair[1].text(kTextLimit);
  }
  void write(JsonText& text, const std::pair<std::string, std::string>& annotation) const {
    text.array(std::array{annotation.first, annotation.second}, [&](const auto& one) { text.value(one); });
  }
  void describe(JsonText& schema) const {
    schema.object([&] {
      schema.member("type", "array");
      schema.array("prefixItems", std::array{true, false}, [&](bool is_name) {
        is_name ? kName.describe(schema) : Text{kTextLimit}.describe(schema);
      });
      schema.member("minItems", std::uint64_t{2});
      schema.member("maxItems", std::uint64_t{2});
    });
  }
};

void memory_fields(Fields& field, ManifestMemory& memory) {
  field("name", memory.name, kName);
  extent_fields(field, memory.extent, "origin", kImageLimit);
  field("known", memory.known, kRanges);
}

void identity_fields(Fields& field, ManifestIdentity& identity) {
  field("name", identity.name, kName);
  field("text", identity.text, kFieldText);
}

void binding_fields(Fields& field, ManifestBinding& binding) {
  field("name", binding.name, kName);
  place_fields(field, binding.place);
  field("digest", binding.digest, kMaybeDigest);
}

void span_fields(Fields& field, ManifestSpan& span) {
  place_fields(field, span.place);
  field("kind", span.kind, Choice{kSpanKindNames});
  field("before", span.before, kMaybeDigest);
  field("after", span.after, kMaybeDigest);
}

void file_fields(Fields& field, ManifestFile& file) {
  field("memory", file.memory, kMaybeName);
  field("form", file.form, kName);
  field("size", file.size, Integer{1, kBundleSizeLimit});
  field("digest", file.digest, kDigest);
}

void checksum_fields(Fields& field, ManifestChecksum& checksum) {
  field("name", checksum.name, kLine);
  field("state", checksum.state, Choice{kCheckStateNames});
  field("value", checksum.value, kFieldText);
}

void patch_fields(Fields& field, ManifestPatch& patch) {
  field("name", patch.name, kName);
  field("base", patch.in_base, kPatchStates);
  field("result", patch.in_result, kPatchStates);
}

void part_fields(Fields& field, PayloadPart& part) {
  field("memory", part.memory, kName);
  field("entry", part.entry, kLine);
  field("ranges", part.ranges, kRanges);
}

void controller_fields(Fields& field, ManifestController& controller) {
  field("name", controller.name, kName);
  field.object("region_map", [&](Fields& map) {
    map("name", controller.map_name, kName);
    map("version", controller.map_version, Integer{1});
    map("grade", controller.map_grade, Choice{"draft", "verified"});
    map("digest", controller.map_digest, kDigest);
  });
  field("memories", controller.memories, List{Record{memory_fields}, kMemoryLimit});
  field("identity", controller.identity, List{Record{identity_fields}, kManifestListLimit});
  field("binding", controller.binding, List{Record{binding_fields}, kManifestListLimit});
  field("spans", controller.spans, List{Record{span_fields}, kManifestListLimit});
  field.object("pinned", [&](Fields& pinned) {
    pinned("before", controller.pinned_before, kDigest);
    pinned("after", controller.pinned_after, kDigest);
  });
  field("files", controller.files, List{Record{file_fields}, kMemoryLimit});
  field("checksums", controller.checksums, List{Record{checksum_fields}, kManifestListLimit});
  field("patches", controller.patches, List{Record{patch_fields}, kManifestListLimit});
  field("write_ranges", controller.write_ranges, List{Record{place_fields}, kManifestListLimit});
  field.object("payload", [&](Fields& payload) {
    payload("kind", controller.payload_kind, Choice{"full", "areas"});
    payload("parts", controller.payload, List{Record{part_fields}, kMemoryLimit});
  });
}

void option_fields(Fields& field, ManifestOption& option) {
  field("name", option.name, kName);
  field("title", option.title, kLine);
  field("digest", option.digest, kDigest);
}

void ordered_option_fields(Fields& field, OrderedOption& option) {
  field("name", option.name, kName);
  field("title", option.title, kLine);
  field("why", option.why, kLine);
}

void ordered_fields(Fields& field, ManifestOrdered& ordered) {
  field("time", ordered.time, kMaybeTime);
  field("parcel", ordered.parcel, kMaybeDigest);
  field("options", ordered.options, List{Record{ordered_option_fields}, kOptionLimit});
}

void attachment_fields(Fields& field, ManifestAttachment& attachment) {
  field("entry", attachment.entry, kLine);
  field("title", attachment.title, kLine);
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

void entry_fields(Fields& field, ManifestEntry& entry) {
  field("name", entry.name, kLine);
  field("method", entry.deflated, Choice{"stored", "deflated"});
  field("stored_size", entry.stored_size, Integer{0, kEntrySizeLimit});
  field("stored_digest", entry.stored_digest, kDigest);
  field("size", entry.size, Integer{0, kEntrySizeLimit});
  field("crc32", entry.crc32, kAddress);
  field("digest", entry.digest, kDigest);
}

void place_fields(Fields& field, NamedRange& place) {
  field("memory", place.memory, kName);
  range_fields(field, place.range);
}

void manifest_fields(Fields& field, Manifest& manifest) {
  field.kind_of_file("revision/1");
  field("format", manifest.format, Format{});
  field("job", manifest.job, kName);
  field.object("base", [&](Fields& base) {
    base("number", manifest.base_number, Integer{1, kBaseLimit});
    base("reason", manifest.base_reason, kLine);
  });
  field("revision", manifest.revision, Integer{0, kRevisionLimit});
  field("sequence", manifest.sequence, Integer{1, kSequenceLimit});
  field("parent", manifest.parent, kMaybeDigest);
  field("set", manifest.set, kMaybeDigest);
  field("claimed_time", manifest.claimed_time, kTime);
  field("trial", manifest.trial, kBoolean);
  field("expires", manifest.expires, kMaybeTime);
  field("required_roles", manifest.required_roles, List{Choice{"author", "reviewer"}, 2});
  field("title", manifest.title, kLine);
  field("notes", manifest.notes, Text{kTextLimit});
  field("vehicle_reference", manifest.vehicle_reference, kLine);
  field("salt_digest", manifest.salt_digest, kMaybeDigest);
  field("controllers", manifest.controllers, List{Record{controller_fields}, 1});
  if (field.reads() && manifest.controllers.empty()) {
    if (const auto list = field.read_from().optional("controllers"))
      list->refuse(Reason::kJsonValue, "no controller", "exactly one controller");
  }
  field("permitted_returns", manifest.permitted_returns, List{kDigest, kReturnLimit});
  field("approvals", manifest.approvals, List{Text{kTextLimit}, kApprovalLimit});
  field("options", manifest.options, List{Record{option_fields}, kOptionLimit});
  field("ordered", manifest.ordered, Record{ordered_fields});
  field("requirements", manifest.requirements, List{kLine, kWordsLimit});
  field("cautions", manifest.cautions, List{kLine, kWordsLimit});
  field("attachments", manifest.attachments, List{Record{attachment_fields}, kWordsLimit});
  field("annotations", manifest.annotations, List{Annotation{}, kWordsLimit});
  field("tool", manifest.tool, kLine);
  field("entries", manifest.entries, List{Record{entry_fields}, kListedEntryLimit});
}

const ManifestEntry* Manifest::find_entry(std::string_view name) const {
  for (const ManifestEntry& entry : entries) {
    if (entry.name == name) return &entry;
  }
  return nullptr;
}

std::string write_manifest(const Manifest& manifest) { return canonical_text(manifest, manifest_fields); }

Result<Manifest> parse_manifest(ByteView bytes, const std::string& name) {
  if (bytes.size() > kManifestSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(bytes.size()) + " bytes",
                 "a manifest of at most " + grouped(kManifestSizeLimit) + " bytes", "do not use this file"});
  }
  CALSEAL_CHECK(check_kind(bytes, kRevisionLiteral, name));
  CALSEAL_CHECK(check_format(text_of(bytes), name));
  CALSEAL_ASSIGN(Manifest manifest, read_canonical(bytes, manifest_fields, name));
  CALSEAL_CHECK(check_manifest_consistency(manifest, name));
  return manifest;
}

}  // namespace calseal
