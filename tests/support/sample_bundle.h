// A small bundle in parts, so that a test can bend one of them: two memories, every kind of span, every kind
// of entry.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/pinned_digest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/bundle/set_descriptor.h"

namespace calseal {

inline Sha256 digest_of(std::string_view text) { return compute_sha256(view_of(text)); }

struct SampleBundle {
  Manifest manifest;
  std::vector<PrefixSignature> signatures;
  std::vector<Bytes> contents;  // of manifest.entries
  std::vector<Bytes> stored;
};

inline ManifestSpan sample_span(std::string memory, std::uint64_t begin, std::uint64_t end, SpanKind kind,
                                std::string_view before, std::string_view after) {
  ManifestSpan span;
  span.place = {std::move(memory), {begin, end}};
  span.kind = kind;
  if (!before.empty()) span.before = digest_of(before);
  if (!after.empty()) span.after = digest_of(after);
  return span;
}

inline ManifestController sample_controller() {
  ManifestController c;
  c.name = "engine";
  c.map_name = "sample-map";
  c.map_version = 3;
  c.map_grade = "verified";
  c.memories = {{"flash", {0x80000000, 0x80000100}, {{0x80000000, 0x800000c0}}},
                {"eeprom", {0, 32}, {{0, 32}}}};
  c.identity = {{"software", "SW100"}, {"mark", "R1"}};
  c.binding = {{"vin", {"flash", {0x80000064, 0x80000075}}, digest_of("vin")},
               {"serial", {"eeprom", {16, 32}}, std::nullopt}};
  c.spans = {
      sample_span("flash", 0x80000000, 0x80000040, SpanKind::kLocked, "l", "l"),
      sample_span("flash", 0x80000040, 0x80000060, SpanKind::kEditable, "e", "E"),
      sample_span("flash", 0x80000060, 0x80000064, SpanKind::kDerived, "d", "D"),
      sample_span("flash", 0x80000064, 0x80000075, SpanKind::kBinding, "", ""),
      sample_span("flash", 0x80000075, 0x80000080, SpanKind::kVolatile, "", ""),
      sample_span("flash", 0x80000080, 0x80000082, SpanKind::kFloating, "", ""),
      sample_span("flash", 0x80000082, 0x800000c0, SpanKind::kLocked, "m", "m"),
      sample_span("flash", 0x800000c0, 0x80000100, SpanKind::kLocked, "", ""),
      sample_span("eeprom", 0, 16, SpanKind::kVolatile, "", ""),
      sample_span("eeprom", 16, 32, SpanKind::kBinding, "", ""),
  };
  c.pinned_before = compute_pinned_digest(c.spans, Side::kBefore);
  c.pinned_after = compute_pinned_digest(c.spans, Side::kAfter);
  c.checksums = {{"main", CheckState::kHolds, "22334455"}, {"blocks[0]", CheckState::kNotProvable, ""}};
  c.write_ranges = {{"flash", {0x80000040, 0x80000064}}, {"flash", {0x80000080, 0x80000082}}};
  c.payload_kind = PayloadKind::kAreas;
  c.payload = {{"flash", "payload/engine/flash.bin", {{0x80000040, 0x80000064}}}};
  return c;
}

inline SetDescriptor sample_set() {
  SetDescriptor set;
  set.job = "job-7";
  set.members = {{"engine", 1, 2, digest_of("map"), digest_of("pinned")},
                 {"transmission", 2, 9, digest_of("map 2"), digest_of("pinned 2")}};
  set.write_order = {"transmission", "engine"};
  return set;
}

// Adds an entry; `deflated` is the raw deflate stream of `content`, or empty for a stored one.
inline void add_sample_entry(SampleBundle& sample, const std::string& name, Bytes content,
                             Bytes deflated = {}) {
  ManifestEntry entry;
  entry.name = name;
  entry.deflated = !deflated.empty();
  const Bytes& stored = entry.deflated ? deflated : content;
  entry.stored_size = stored.size();
  entry.stored_digest = compute_sha256(stored);
  entry.size = content.size();
  entry.crc32 = compute_entry_crc32(content);
  entry.digest = compute_sha256(content);
  sample.manifest.entries.push_back(entry);
  sample.stored.push_back(stored);
  sample.contents.push_back(std::move(content));
}

inline Bytes bytes_of(std::string_view text) { return {text.begin(), text.end()}; }

// Revision 1 of base 1, in a set of two, with one deflated payload, one stored and one deflated attachment.
// Nothing in it is signed truly: `signatures` holds two made-up ones.
inline SampleBundle make_sample_bundle() {
  SampleBundle sample;
  Manifest& m = sample.manifest;
  m.job = "job-7";
  m.base_reason = "first read";
  m.revision = 1;
  m.sequence = 2;
  m.parent = digest_of("parent");
  m.claimed_time = "2026-03-04T05:06:07Z";
  m.required_roles = {"author"};
  m.title = "Sample";
  m.notes = "Two lines,\n\"quoted\", with caf\xc3\xa9 and a \x01.";
  m.vehicle_reference = "blue 7";
  m.salt_digest = digest_of("salt");
  m.controllers = {sample_controller()};
  m.permitted_returns = {digest_of("r1"), digest_of("r2")};
  if (m.permitted_returns[1] < m.permitted_returns[0])
    std::swap(m.permitted_returns[0], m.permitted_returns[1]);
  m.approvals = {"a whole file,\nwith its lines\n"};
  m.options = {{"flat-foot", "Flat foot", digest_of("option")}};
  m.ordered = {"2026-03-01T00:00:00Z",
               digest_of("parcel"),
               {{"flat-foot", "Flat foot", ""}, {"second-fan", "", "next week"}}};
  m.requirements = {"Fuel of at least 98 octane"};
  m.cautions = {"Not for the road"};
  m.attachments = {{"attachments/log.txt", "Log"}, {"attachments/note.txt", "Note"}};
  m.annotations = {{"colour", "green"}, {"colour", "red"}};
  m.tool = "calseal 0.1.0";
  const std::string set = write_set(sample_set());
  m.set = digest_of(set);
  const std::string map = R"({"calseal":"region-map/1"})";
  m.controllers[0].map_digest = digest_of(map);
  const std::vector<Change> changes{{{"flash", {0x80000041, 0x80000044}}, "idle", "flat-foot"},
                                    {{"flash", {0x80000060, 0x80000064}}, "", ""}};
  Bytes payload(32, 0x11);
  payload.insert(payload.end(), {0x22, 0x33, 0x44, 0x55});
  add_sample_entry(sample, "regions/engine.json", bytes_of(map));
  add_sample_entry(sample, std::string(kChangesName), bytes_of(write_changes(changes)));
  add_sample_entry(sample, std::string(kSetName), bytes_of(set));
  add_sample_entry(sample, "payload/engine/flash.bin", payload, *from_hex("1314c40f948c5d4201"));
  add_sample_entry(sample, "attachments/log.txt", bytes_of("long long long long long long long long\n"),
                   *from_hex("cbc9cf4b57c82148700100"));
  add_sample_entry(sample, "attachments/note.txt", bytes_of("abc"));
  for (const std::uint8_t first : Bytes{0x10, 0xe0}) {
    PrefixSignature signature;
    signature.key_id.bytes.fill(first);
    signature.signature.fill(static_cast<std::uint8_t>(first + 1));
    sample.signatures.push_back(signature);
  }
  return sample;
}

// Revision 0 of the same job: the whole image, nothing changed.
inline SampleBundle make_sample_base() {
  SampleBundle sample = make_sample_bundle();
  Manifest& m = sample.manifest;
  ManifestController& c = m.controllers[0];
  m.revision = 0;
  m.ordered = {};
  m.sequence = 1;
  m.parent.reset();
  for (ManifestSpan& span : c.spans) span.after = span.before;
  c.pinned_after = c.pinned_before;
  c.identity[1].text = "";
  c.checksums[0].value = "00112233";
  c.files = {{"flash", "intel-hex", 700, digest_of("file")}};
  c.payload_kind = PayloadKind::kFull;
  c.payload = {{"flash", "payload/engine/flash.bin", {{0x80000000, 0x800000c0}}},
               {"eeprom", "payload/engine/eeprom.bin", {{0, 32}}}};
  const SampleBundle before = sample;
  m.entries.clear();
  sample.contents.clear();
  sample.stored.clear();
  for (std::size_t i = 0; i < before.manifest.entries.size(); ++i) {
    const ManifestEntry& entry = before.manifest.entries[i];
    if (entry.name.starts_with("payload/")) {
      add_sample_entry(sample, entry.name, Bytes(0xc0, 0x5a));
      add_sample_entry(sample, "payload/engine/eeprom.bin", Bytes(32, 0xa5));
    } else {
      add_sample_entry(sample, entry.name, before.contents[i], entry.deflated ? before.stored[i] : Bytes());
    }
  }
  return sample;
}

// The bytes of the file.
inline Bytes assemble(const SampleBundle& sample) {
  const std::string text = write_manifest(sample.manifest);
  const Framing framing = compute_framing(view_of(text), sample.signatures, sample.manifest);
  std::vector<Bytes> contents{bytes_of(text)};
  for (const PrefixSignature& s : sample.signatures)
    contents.emplace_back(s.signature.begin(), s.signature.end());
  contents.insert(contents.end(), sample.stored.begin(), sample.stored.end());
  Bytes file;
  for (std::size_t i = 0; i < contents.size(); ++i) {
    const Bytes header = local_header(framing.entries[i]);
    file.insert(file.end(), header.begin(), header.end());
    file.insert(file.end(), contents[i].begin(), contents[i].end());
  }
  const Bytes directory = central_directory(framing);
  file.insert(file.end(), directory.begin(), directory.end());
  return file;
}

}  // namespace calseal
