#include <array>
#include <optional>

#include "calseal/base/json_text.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"

namespace calseal {
namespace {

// Writes the members and elements that the parts of a manifest are made of.
class ManifestText {
 public:
  std::string write(const Manifest& manifest) {
    text_.object([&] { write_members(manifest); });
    return text_.take();
  }

 private:
  // Nothing is "".
  void digest(std::string_view key, const std::optional<Sha256>& value) {
    text_.member(key, value ? digest_text(*value) : std::string());
  }
  void range(const Range& range) {
    text_.member("start", address_text(range.begin));
    text_.member("size", range.size());
  }
  void place(const NamedRange& place) {
    text_.member("memory", place.memory);
    range(place.range);
  }

  // An array of objects, each with its `members`.
  template <typename Element>
  void list(std::string_view key, const std::vector<Element>& elements,
            void (ManifestText::*members)(const Element&)) {
    text_.array(key, elements,
                [&](const Element& element) { text_.object([&] { (this->*members)(element); }); });
  }
  void lines(std::string_view key, const std::vector<std::string>& texts) {
    text_.array(key, texts, [&](const std::string& line) { text_.value(line); });
  }

  void memory(const ManifestMemory& memory) {
    text_.member("name", memory.name);
    text_.member("origin", address_text(memory.extent.begin));
    text_.member("size", memory.extent.size());
    list("known", memory.known, &ManifestText::range);
  }

  void identity(const ManifestIdentity& field) {
    text_.member("name", field.name);
    text_.member("text", field.text);
  }

  void binding(const ManifestBinding& field) {
    text_.member("name", field.name);
    place(field.place);
    digest("digest", field.digest);
  }

  void span(const ManifestSpan& span) {
    place(span.place);
    text_.member("kind", span_kind_name(span.kind));
    digest("before", span.before);
    digest("after", span.after);
  }

  void file(const ManifestFile& file) {
    text_.member("memory", file.memory);
    text_.member("form", file.form);
    text_.member("size", file.size);
    digest("digest", file.digest);
  }

  void checksum(const ManifestChecksum& checksum) {
    text_.member("name", checksum.name);
    text_.member("state", check_state_name(checksum.state));
    text_.member("value", checksum.value);
  }

  void patch(const ManifestPatch& patch) {
    text_.member("name", patch.name);
    text_.member("base", patch.in_base ? "after" : "before");
    text_.member("result", patch.in_result ? "after" : "before");
  }

  void part(const PayloadPart& part) {
    text_.member("memory", part.memory);
    text_.member("entry", part.entry);
    list("ranges", part.ranges, &ManifestText::range);
  }

  void controller(const ManifestController& controller) {
    text_.member("name", controller.name);
    text_.object("region_map", [&] {
      text_.member("name", controller.map_name);
      text_.member("version", controller.map_version);
      text_.member("grade", controller.map_grade);
      digest("digest", controller.map_digest);
    });
    list("memories", controller.memories, &ManifestText::memory);
    list("identity", controller.identity, &ManifestText::identity);
    list("binding", controller.binding, &ManifestText::binding);
    list("spans", controller.spans, &ManifestText::span);
    text_.object("pinned", [&] {
      digest("before", controller.pinned_before);
      digest("after", controller.pinned_after);
    });
    list("files", controller.files, &ManifestText::file);
    list("checksums", controller.checksums, &ManifestText::checksum);
    list("patches", controller.patches, &ManifestText::patch);
    list("write_ranges", controller.write_ranges, &ManifestText::place);
    text_.object("payload", [&] {
      text_.member("kind", controller.payload_kind == PayloadKind::kFull ? "full" : "areas");
      list("parts", controller.payload, &ManifestText::part);
    });
  }

  void option(const ManifestOption& option) {
    text_.member("name", option.name);
    text_.member("title", option.title);
    digest("digest", option.digest);
  }

  void attachment(const ManifestAttachment& attachment) {
    text_.member("entry", attachment.entry);
    text_.member("title", attachment.title);
  }

  void entry(const ManifestEntry& entry) {
    text_.member("name", entry.name);
    text_.member("method", entry.deflated ? "deflated" : "stored");
    text_.member("stored_size", entry.stored_size);
    digest("stored_digest", entry.stored_digest);
    text_.member("size", entry.size);
    text_.member("crc32", hex_number(entry.crc32, 8));
    digest("digest", entry.digest);
  }

  void write_members(const Manifest& manifest) {
    text_.member("calseal", "revision/1");
    text_.member("format", manifest.format);
    text_.member("job", manifest.job);
    text_.object("base", [&] {
      text_.member("number", manifest.base_number);
      text_.member("reason", manifest.base_reason);
    });
    text_.member("revision", manifest.revision);
    text_.member("sequence", manifest.sequence);
    digest("parent", manifest.parent);
    digest("set", manifest.set);
    text_.member("claimed_time", manifest.claimed_time);
    text_.member("trial", manifest.trial);
    text_.member("expires", manifest.expires);
    lines("required_roles", manifest.required_roles);
    text_.member("title", manifest.title);
    text_.member("notes", manifest.notes);
    text_.member("vehicle_reference", manifest.vehicle_reference);
    digest("salt_digest", manifest.salt_digest);
    list("controllers", manifest.controllers, &ManifestText::controller);
    text_.array("permitted_returns", manifest.permitted_returns,
                [&](const Sha256& returned) { text_.value(digest_text(returned)); });
    lines("approvals", manifest.approvals);
    list("options", manifest.options, &ManifestText::option);
    lines("requirements", manifest.requirements);
    lines("cautions", manifest.cautions);
    list("attachments", manifest.attachments, &ManifestText::attachment);
    text_.array("annotations", manifest.annotations, [&](const auto& annotation) {
      text_.array(std::array{annotation.first, annotation.second},
                  [&](const std::string& text) { text_.value(text); });
    });
    text_.member("tool", manifest.tool);
    list("entries", manifest.entries, &ManifestText::entry);
  }

  JsonText text_;
};

}  // namespace

const ManifestEntry* Manifest::find_entry(std::string_view name) const {
  for (const ManifestEntry& entry : entries) {
    if (entry.name == name) return &entry;
  }
  return nullptr;
}

std::string write_manifest(const Manifest& manifest) { return ManifestText().write(manifest); }

}  // namespace calseal
