#include "calseal/check/revive.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/payload.h"
#include "calseal/check/proof.h"
#include "calseal/check/wrapping_note.h"
#include "calseal/image/form.h"
#include "calseal/map/segments.h"
#include "calseal/map/wrapping.h"

namespace calseal {
namespace {

// The form that the memory was received in, as far as a single memory can have it.
std::string form_for(const OpenedBundle& opened, const Memory& memory) {
  const auto& files = opened.manifest.controller().files;
  auto file = std::ranges::find(files, memory.name, &ManifestFile::memory);
  if (file == files.end()) file = std::ranges::find(files, "", &ManifestFile::memory);
  if (file != files.end() &&
      (file->form == form_name(FormKind::kIntelHex) || file->form == form_name(FormKind::kSRecord)))
    return file->form;
  // A raw file has no addresses, so it can only hold a memory whole.
  const RangeSet exists = segments_of(opened.map.memories[opened.map.memory_index(memory.name)]);
  return std::string(form_name(memory.known == exists ? FormKind::kRaw : FormKind::kIntelHex));
}

Bytes file_of(const Memory& memory, std::string_view form) {
  std::vector<Segment> segments;
  Bytes raw;
  for (const Range& range : memory.known.ranges()) {
    const ByteView view = memory.view(range);
    segments.push_back({range.begin, Bytes(view.begin(), view.end())});
    raw.insert(raw.end(), view.begin(), view.end());
  }
  if (form == form_name(FormKind::kIntelHex) || form == form_name(FormKind::kSRecord)) {
    const std::string text =
        form == form_name(FormKind::kIntelHex) ? write_intel_hex(segments) : write_s_record(segments);
    return Bytes(text.begin(), text.end());
  }
  return raw;
}

// Opaque bytes of a form that can be made again; docs/proof.md, "Revive". Of more, a few words in a region
// map would make a file that has nothing to do with the image.
constexpr std::uint64_t kOpaqueLimit = 65536;

// The file in the declared form that it was received in; nothing where that cannot be.
std::optional<Bytes> wrapped(const OpenedBundle& opened, const ManifestFile& file,
                             const FormDeclaration& form, const Image& image) {
  for (const WrappedPart& part : wrapped_parts(form)) {
    if (!image.memories[part.place.memory].knows(part.place.range)) return std::nullopt;
  }
  if (opaque_size(form) > kOpaqueLimit) return std::nullopt;
  const std::optional<Bytes> noted = noted_wrapping(opened.manifest, form);
  std::optional<Bytes> around = noted ? empty_wrapping(form, *noted) : std::nullopt;
  const bool sure = around || makes_its_opaque_bytes(form);
  if (!around) around = empty_wrapping(form, Bytes(static_cast<std::size_t>(opaque_size(form))));
  Result<Bytes> out = wrap(form, *around, image, opened.name);
  if (!out || (!sure && compute_sha256(*out) != file.digest)) return std::nullopt;
  return *std::move(out);
}

// The files in declared forms, and which bytes of which memory they hold or leave out as fill.
std::vector<RebuiltFile> wrapped_files(const OpenedBundle& opened, const Image& image,
                                       std::vector<RangeSet>& held) {
  std::vector<RebuiltFile> files;
  for (const ManifestFile& file : opened.manifest.controller().files) {
    const auto form = std::ranges::find(opened.map.forms, file.form, &FormDeclaration::name);
    if (form == opened.map.forms.end() || !form->is_readable()) continue;
    std::optional<Bytes> bytes = wrapped(opened, file, *form, image);
    if (!bytes) continue;
    for (const WrappedPart& part : wrapped_parts(*form)) held[part.place.memory].add(part.place.range);
    for (const Place& place : form->omitted) held[place.memory].add(place.range);
    files.push_back({file.memory, "", *std::move(bytes), {}});
  }
  return files;
}

// A fault of the first read that the bundle carries is not one of a read that anybody gave.
Error of_first_read(Error error) {
  constexpr Reason kOfARead[] = {Reason::kReadIncomplete, Reason::kReadForeign,   Reason::kChangePatch,
                                 Reason::kFamilyMismatch, Reason::kBankNotActive, Reason::kVehicleMismatch,
                                 Reason::kResultMismatch};
  if (std::ranges::find(kOfARead, error.reason) == std::end(kOfARead)) return error;
  error.found += ", in the first read that this bundle carries";
  error.next = "do not use this bundle; tell the shop";
  return error;
}

}  // namespace

Status revive(const OpenedBundle& opened, const MatchEvidence& evidence, Verdict& verdict) {
  const Manifest& manifest = opened.manifest;
  if (manifest.revision != 0) {
    return fail({Reason::kReadMissing, opened.name, "",
                 "no read, and revision " + std::to_string(manifest.revision),
                 "the controller's read; only revision 0 can be written without one",
                 "give the read, or use revision 0"});
  }
  if (evidence.vehicle_reference.empty()) {
    return fail({Reason::kVehicleNotProvable, opened.name, "vehicle_reference",
                 "no read and no vehicle reference",
                 "the vehicle reference that the shop uses for this vehicle", "give the vehicle reference"});
  }
  // The read is what the bundle carries; what is written is the result of the proof.
  Image first_read = carried_image(opened);
  const MatchEvidence declared{true, evidence.salt, evidence.vehicle_reference};
  Result<Image> proved = prove(opened, first_read, declared, ReadOrigin::kWayBack, verdict);
  if (!proved) return fail(of_first_read(std::move(proved).error()));
  const Image& image = *proved;
  verdict.vehicle = VehicleProof::kAsserted;
  std::vector<RangeSet> held(image.memories.size());
  verdict.files = wrapped_files(opened, image, held);
  for (std::size_t m = 0; m < image.memories.size(); ++m) {
    const Memory& memory = image.memories[m];
    RangeSet rest = memory.known;
    rest.remove(held[m]);
    if (rest.empty()) continue;
    verdict.files.push_back({memory.name, "", file_of(memory, form_for(opened, memory)), {}});
  }
  digest_files(verdict.files);
  return {};
}

}  // namespace calseal
