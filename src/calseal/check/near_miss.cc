#include "calseal/check/near_miss.h"

#include <algorithm>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/check/claims.h"
#include "calseal/check/match.h"
#include "calseal/check/payload.h"
#include "calseal/map/identity.h"
#include "calseal/map/segments.h"
#include "calseal/map/verify.h"

namespace calseal {
namespace {

constexpr std::size_t kMostNames = 5;

std::string joined(const std::vector<std::string>& words, std::string_view between = ", ") {
  std::string text;
  for (std::size_t i = 0; i < words.size() && i < kMostNames; ++i)
    text += (i == 0 ? "" : std::string(between)) + words[i];
  if (words.size() > kMostNames) text += " and " + std::to_string(words.size() - kMostNames) + " more";
  return text;
}

std::string bundle_for(const OpenedBundle& opened) {
  return "controller " + opened.map.controller + " (region map " + opened.map.name + " version " +
         std::to_string(opened.map.version) + ")";
}

std::string base_text(const Manifest& manifest) {
  return "base " + std::to_string(manifest.base_number) + " of job " + manifest.job;
}

bool knows(const Image& image, const NamedRange& place) {
  const Memory* memory = image.find(place.memory);
  return memory != nullptr && memory->extent.contains(place.range) && memory->knows(place.range);
}

// What the locked spans of a read have in common with the sealed ones.
struct Misfit {
  // Per span: the first differing run where the bytes are known, else the whole span.
  std::vector<NamedRange> differing;
  std::uint64_t spans = 0;            // locked spans altogether
  std::uint64_t differing_bytes = 0;  // in spans that differ; exact when the payload carries them
  bool exact = false;
  std::uint64_t erased = 0;  // of the differing spans: all bytes ff, or all 00
  std::vector<std::string> regions;
  std::vector<std::string> signed_parts;    // that the differing bytes, or spans, touch
  std::vector<std::string> other_identity;  // "software is X, not Y"
  std::vector<std::string> same_identity;   // "software X"
};

bool is_erased(ByteView bytes) {
  const auto all = [&](std::uint8_t value) {
    return std::ranges::all_of(bytes, [=](std::uint8_t b) { return b == value; });
  };
  return all(0xff) || all(0x00);
}

void compare_identity(const OpenedBundle& opened, const Image& read, Misfit& misfit) {
  const ManifestController& controller = opened.manifest.controller();
  // Fields of which all bytes are locked: every revision of one base has the same value there.
  std::vector<RangeSet> locked(opened.map.memories.size());
  for (const ManifestSpan& span : controller.spans) {
    if (span.kind == SpanKind::kLocked)
      locked[opened.map.memory_index(span.place.memory)].add(span.place.range);
  }
  for (const IdentityValue& value : read_identity(opened.map, read)) {
    const auto claim = std::ranges::find(controller.identity, value.field->name, &ManifestIdentity::name);
    if (value.field->binds || !value.known) continue;
    if (claim == controller.identity.end() || claim->text.empty()) continue;
    if (!locked[value.field->place.memory].contains(value.field->place.range)) continue;
    const std::string name = printable(value.field->name, 64);
    if (value.text == claim->text) {
      misfit.same_identity.push_back(name + " " + printable(value.text, 64));
    } else {
      misfit.other_identity.push_back(name + " is " + (value.blank ? "blank" : printable(value.text, 64)) +
                                      ", not " + printable(claim->text, 64));
    }
  }
}

void compare_signed_parts(const OpenedBundle& opened, const Image& image, const std::optional<Image>& carried,
                          const std::vector<RangeSet>& differing, Misfit& misfit) {
  for (const SignedPart& part : opened.map.signed_parts) {
    const bool touched = std::ranges::any_of(part.places, [&](const Place& place) {
      if (!differing[place.memory].overlaps(place.range)) return false;
      if (!misfit.exact) return true;
      const Memory& ours = image.memories[place.memory];
      const Memory& theirs = carried->memories[place.memory];
      const RangeSet both = ours.known.within(place.range).intersect(theirs.known);
      return !std::ranges::all_of(both.ranges(), [&](const Range& range) {
        return std::ranges::equal(ours.view(range), theirs.view(range));
      });
    });
    if (touched) misfit.signed_parts.push_back(part.name);
  }
}

// The read's bytes of a locked span with the permitted patches of the revision.
Bytes bytes_of(const OpenedBundle& opened, const Image& read, const NamedRange& place) {
  if (auto laid = with_patches(opened, read, place, PatchSide::kResult)) return *std::move(laid);
  const ByteView own = read.find(place.memory)->view(place.range);
  return {own.begin(), own.end()};
}

Misfit compare_locked(const OpenedBundle& opened, const Image& read) {
  Misfit misfit;
  std::optional<Image> carried;
  if (opened.manifest.controller().payload_kind == PayloadKind::kFull && !opened.payload.empty())
    carried = carried_image(opened);
  misfit.exact = carried.has_value();
  bool outside = false;
  std::vector<RangeSet> differing(opened.map.memories.size());  // whole spans
  ImageDigests of_read(read);
  const auto digests = locked_digests(opened, read, of_read);
  for (std::size_t i = 0; i < digests.size(); ++i) {
    const ManifestSpan& span = opened.manifest.controller().spans[i];
    if (!is_matched(span)) continue;
    ++misfit.spans;
    if (!digests[i] || digests[i] == span.after) continue;
    const Bytes found = bytes_of(opened, read, span.place);
    const std::size_t memory = opened.map.memory_index(span.place.memory);
    differing[memory].add(span.place.range);
    misfit.erased += is_erased(read.find(span.place.memory)->view(span.place.range)) ? 1U : 0U;
    const std::string region = region_at(opened.map, memory, span.place.range.begin);
    outside = outside || region.empty();
    if (!region.empty() && (misfit.regions.empty() || misfit.regions.back() != "region " + region))
      misfit.regions.push_back("region " + region);
    if (!carried || !knows(*carried, span.place)) {
      misfit.exact = false;
      misfit.differing.push_back(span.place);
      misfit.differing_bytes += span.place.range.size();
      continue;
    }
    const DifferenceSum sum =
        sum_differences(found, carried->find(span.place.memory)->view(span.place.range));
    misfit.differing_bytes += sum.bytes;
    misfit.differing.push_back(
        {span.place.memory,
         {span.place.range.begin + sum.first.begin, span.place.range.begin + sum.first.end}});
  }
  if (outside) misfit.regions.push_back("bytes without a region");
  compare_signed_parts(opened, read, carried, differing, misfit);
  compare_identity(opened, read, misfit);
  return misfit;
}

std::string differing_text(const Misfit& misfit) {
  const NamedRange& first = misfit.differing.front();
  const bool one = misfit.differing.size() == 1;
  std::string text;
  if (misfit.exact) {
    text = bytes_text(misfit.differing_bytes) + (misfit.differing_bytes == 1 ? " differs" : " differ") +
           " in locked places";
  } else {
    text = std::to_string(misfit.differing.size()) + " of " + std::to_string(misfit.spans) +
           " locked spans " + (one ? "differs" : "differ") + " (" + bytes_text(misfit.differing_bytes) +
           " in " + (one ? "it" : "them") + ")";
  }
  text += ", the first at " + first.memory + " " + address_text(first.range.begin) + ", in " +
          joined(misfit.regions);
  if (misfit.signed_parts.empty()) return text;
  return text + (misfit.exact ? ", in" : ", which reaches into") + " the part " +
         joined(misfit.signed_parts) + " under the manufacturer's signature";
}

std::string calibration_text(Calibration calibration) {
  switch (calibration) {
    case Calibration::kUnchanged:
      return {};
    case Calibration::kBefore:
      return "; its calibration is that of the base";
    case Calibration::kAfter:
      return "; its calibration is already that of this revision";
    case Calibration::kOther:
      return "; its calibration is neither that of the base nor of this revision";
  }
  return {};
}

// Names of checks that fail on the read; nothing when the plan cannot be made from it.
std::optional<std::vector<std::string>> failing_checks(const OpenedBundle& opened, const Image& read) {
  const Result<Plan> plan = make_plan(opened.map, read);
  if (!plan) return std::nullopt;
  std::vector<std::string> names;
  for (const CheckOutcome& outcome : verify_checks(*plan, read)) {
    if (outcome.state == CheckState::kFails) names.push_back(outcome.name);
  }
  return names;
}

// The identity agrees and locked bytes do not: somebody else's work, or damage.
void word_modified(const OpenedBundle& opened, const Image& read, const Misfit& misfit, Error& error) {
  error.found = (misfit.same_identity.empty() ? "recognised as " + opened.map.name
                                              : "the same software (" + joined(misfit.same_identity) + ")") +
                ", but " + differing_text(misfit) +
                calibration_text(calibration_of(opened.manifest.controller(), read));
  error.expected = "locked bytes as in " + base_text(opened.manifest) +
                   "; only its editable areas may differ between its revisions";
  const auto failing = failing_checks(opened, read);
  if (failing && failing->empty() && !opened.map.checksums.empty()) {
    error.found += "; all its checksums hold";
    error.next =
        "do not write: the read is sound, so somebody else has changed locked bytes, or the controller was "
        "updated under the same number; ask the shop, which needs this read for a new base";
    return;
  }
  if (failing && !failing->empty())
    error.found += "; of its checksums " + joined(*failing) + (failing->size() == 1 ? " fails" : " fail");
  error.next =
      "do not write: read again; if the next read differs from this one the reading is at fault, if it "
      "repeats exactly somebody else has changed locked bytes: ask the shop";
}

void word_family(const OpenedBundle& opened, const Error& mismatch, Error& error) {
  error.found = "not recognised as " + opened.map.name + ": " + mismatch.found + " at " + mismatch.place;
  error.expected = mismatch.expected + ", as in every read of " + bundle_for(opened);
  error.next =
      "do not write: the read is of another controller or software family; check that read and "
      "bundle belong to the same controller";
  if (!opened.set) return;
  std::vector<std::string> others;
  for (const SetMember& member : opened.set->members) {
    if (member.controller != opened.map.controller) others.push_back(member.controller);
  }
  error.next += ". The set also has " + joined(others) + ": the reads may be swapped";
}

// From the first to the last editable byte, in the region map's own terms.
std::optional<Range> calibration_range(const RegionMap& map, std::size_t memory) {
  std::optional<Range> whole;
  for (const Region& region : map.regions) {
    if (region.place.memory != memory || region.policy != Policy::kEditable) continue;
    if (!whole) whole = region.place.range;
    whole->end = std::max(whole->end, region.place.range.end);
  }
  return whole;
}

// How many bytes a tool may have read when it reads the calibration alone: the editable bytes, the range
// around them, or the erase sectors that hold them.
bool is_calibration_size(const RegionMap& map, std::size_t memory, std::uint64_t size) {
  const std::optional<Range> range = calibration_range(map, memory);
  if (!range) return false;
  std::uint64_t editable = 0;
  for (const Region& region : map.regions) {
    if (region.place.memory == memory && region.policy == Policy::kEditable)
      editable += region.place.range.size();
  }
  Range sectors = *range;
  for (const Place& sector : map.sectors) {
    if (sector.memory != memory || !sector.range.overlaps(*range)) continue;
    sectors.begin = std::min(sectors.begin, sector.range.begin);
    sectors.end = std::max(sectors.end, sector.range.end);
  }
  return size == editable || size == range->size() || size == sectors.size();
}

void word_size(const OpenedBundle& opened, const FileShape& file, Error& error) {
  const std::size_t index = opened.map.memory_index(error.place);
  if (index == opened.map.memories.size()) return;
  const std::uint64_t total = segment_total(opened.map.memories[index]);
  for (const MemoryDeclaration& memory : opened.map.memories) {
    if (memory.name == error.place || segment_total(memory) != file.size) continue;
    error.found += ", as many as memory " + memory.name + " has";
    error.next = "the files may be swapped: give this one as " + memory.name + "=FILE";
    return;
  }
  if (is_calibration_size(opened.map, index, file.size)) {
    error.found +=
        ", as many as the calibration alone (" + range_text(*calibration_range(opened.map, index)) + ")";
    error.next = "a read of the calibration alone does not prove which software it belongs to: read memory " +
                 error.place + " whole";
    return;
  }
  if (file.size < total) {
    error.found += ", only a part of the memory";
    error.next =
        "the file is cut short, holds the calibration alone, or is of another controller: read memory " +
        error.place + " whole";
  } else {
    error.next =
        "the file is of another controller, or a tool has wrapped or padded it: check memory and file, "
        "or ask the shop to declare the form in the region map";
  }
}

// A read that other locked bytes than the manifest's own would be just as good for.
bool fits(const Manifest& manifest, const Image& read) {
  const std::vector<ManifestSpan>& spans = manifest.controller().spans;
  const auto found = ImageDigests(read).of_spans(
      spans, [&](const ManifestSpan& span) { return is_matched(span) && knows(read, span.place); });
  std::size_t compared = 0;
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (!is_matched(spans[i])) continue;
    if (!found[i] || (found[i] != spans[i].after && found[i] != spans[i].before)) return false;
    ++compared;
  }
  return compared != 0;
}

bool recognised(const RegionMap& map, const Image& read) {
  if (map.recognition.all.empty() && map.recognition.software_numbers.empty()) return false;
  const Status status = recognise_family(map, read);
  return status || status.error().reason != Reason::kFamilyMismatch;
}

}  // namespace

bool has_same_identity(const OpenedBundle& opened, const Image& read) {
  Misfit misfit;
  compare_identity(opened, read, misfit);
  return misfit.other_identity.empty();
}

Calibration calibration_of(const ManifestController& controller, const Image& read) {
  std::size_t changed = 0;
  std::size_t before = 0;
  std::size_t after = 0;
  bool other = false;
  const auto found = ImageDigests(read).of_spans(controller.spans, [&](const ManifestSpan& span) {
    return span.kind == SpanKind::kEditable && span.after && knows(read, span.place);
  });
  for (std::size_t i = 0; i < found.size(); ++i) {
    const ManifestSpan& span = controller.spans[i];
    if (!found[i]) continue;
    other = other || (found[i] != span.before && found[i] != span.after);
    if (span.before == span.after) continue;
    ++changed;
    before += found[i] == span.before ? 1U : 0U;
    after += found[i] == span.after ? 1U : 0U;
  }
  if (other) return Calibration::kOther;
  if (changed == 0) return Calibration::kUnchanged;
  if (before == changed) return Calibration::kBefore;
  return after == changed ? Calibration::kAfter : Calibration::kOther;
}

Error explain_foreign(const OpenedBundle& opened, const Image& read) {
  const Misfit misfit = compare_locked(opened, read);
  // What differs lies in permitted patches alone, which the comparison leaves out.
  if (misfit.differing.empty()) {
    return {Reason::kReadForeign,
            "",
            "identity",
            misfit.other_identity.empty() ? "other bytes in a permitted patch"
                                          : joined(misfit.other_identity, "; "),
            "the software of " + base_text(opened.manifest),
            "do not write: read the controller again, whole"};
  }
  const NamedRange& first = misfit.differing.front();
  const std::string region = region_at(opened.map, opened.map.memory_index(first.memory), first.range.begin);
  Error error{Reason::kReadForeign,
              "",
              first.memory + " " + range_text(first.range) + (region.empty() ? "" : " in region " + region),
              "",
              "",
              ""};
  // By bytes alone: an unknown software number is not another family.
  RegionMap bytes_only = opened.map;
  bytes_only.recognition.software_numbers.clear();
  const Status family = recognise_family(bytes_only, read);
  if (misfit.erased == misfit.differing.size()) {
    error.found = "erased bytes (all ff or all 00) where software should be: " + differing_text(misfit);
    error.expected = "the locked bytes of " + base_text(opened.manifest);
    error.next = "the tool did not read these places, or they are erased: read the controller again, whole";
  } else if (!family && family.error().reason == Reason::kFamilyMismatch) {
    word_family(opened, family.error(), error);
  } else if (!misfit.other_identity.empty()) {
    error.found = joined(misfit.other_identity, "; ") + "; " + differing_text(misfit);
    error.expected = "the software of " + base_text(opened.manifest);
    error.next =
        "do not write: the same family, other software: the dealer has updated the controller, it was "
        "replaced, or the read is of another base of this job; ask the shop for a revision of the base "
        "that is in the controller now";
  } else if (!family && family.error().reason == Reason::kBankNotActive) {
    error.found = "the controller runs from its other bank (" + family.error().found + " at " +
                  family.error().place + ")";
    error.expected = family.error().expected;
    error.next = "do not write: the dealer may have updated the other bank; ask the shop";
  } else {
    word_modified(opened, read, misfit, error);
  }
  return error;
}

Error explain_incomplete(const OpenedBundle& opened, const Image& read, const NamedRange& first_missing) {
  std::uint64_t needed = 0;
  std::uint64_t held = 0;
  bool calibration_held = true;
  bool locked_missing = false;
  std::vector<std::string> absent;
  for (const ManifestMemory& claim : opened.manifest.controller().memories) {
    if (!claim.known.empty() && read.find(claim.name)->known.empty()) absent.push_back(claim.name);
  }
  for (const ManifestSpan& span : opened.manifest.controller().spans) {
    if (span.kind != SpanKind::kBinding && !span.after) continue;
    const std::uint64_t here = read.find(span.place.memory)->known.within(span.place.range).size();
    needed += span.place.range.size();
    held += here;
    const bool missing = here != span.place.range.size();
    if (span.kind == SpanKind::kEditable && missing) calibration_held = false;
    if (span.kind == SpanKind::kLocked && missing) locked_missing = true;
  }
  Error error{Reason::kReadIncomplete,
              "",
              first_missing.memory + " " + range_text(first_missing.range),
              "bytes that the read does not hold: it has " + grouped(held) + " of " + bytes_text(needed) +
                  " that are needed",
              "every byte that is matched or written",
              "read the controller again, with all the memories of the first read"};
  if (!absent.empty()) {
    error.found += "; nothing of memory " + joined(absent);
    error.next = "give that memory too, as " + absent.front() + "=FILE; the first read had it";
  } else if (calibration_held && locked_missing) {
    error.found += "; the calibration is there, the software around it is not";
    error.next =
        "a read of the calibration alone does not prove which software it belongs to: read the controller "
        "whole";
  }
  return error;
}

Error explain_other_vehicle(const OpenedBundle& opened, const Image& read, ByteView salt) {
  std::vector<std::string> same;
  std::vector<std::string> other;
  std::string place;
  for (const ManifestBinding& binding : opened.manifest.controller().binding) {
    if (!binding.digest) continue;
    const auto field = std::ranges::find(opened.map.identity, binding.name, &IdentityField::name);
    if (field == opened.map.identity.end()) continue;
    const std::string name = printable(binding.name, 64) + " (" + binding.place.memory + ")";
    if (salted_digest(salt, opened.map, *field, read) == *binding.digest) {
      same.push_back(name);
      continue;
    }
    if (place.empty()) place = binding.name + ", " + place_text(opened.map, field->place);
    other.push_back(name + (field_says_something(*field, read) ? "" : ", which is blank in this read"));
  }
  Error error{Reason::kVehicleMismatch, "", place, "", "the values of the job's own vehicle", ""};
  error.found = "the same software, but another " + joined(other) +
                (same.empty() ? "" : "; the same " + joined(same)) +
                calibration_text(calibration_of(opened.manifest.controller(), read));
  error.next =
      same.empty()
          ? "do not write: this read, or a copy of an edited file, comes from another vehicle, even if its "
            "software is the same; read the controller of this vehicle"
          : "do not write: one of the files is from another vehicle, or a part of the controller was "
            "exchanged; read all memories of this vehicle again, and ask the shop if it repeats";
  return error;
}

Error explain_misfit(Error error, const OpenedBundle& opened, const Image& read,
                     const std::optional<Bytes>& salt) {
  if (error.reason == Reason::kReadForeign) return explain_foreign(opened, read);
  if (error.reason == Reason::kVehicleMismatch && salt) return explain_other_vehicle(opened, read, *salt);
  if (error.reason != Reason::kReadIncomplete) return error;
  // Tables and erase sectors may miss bytes too; these words are for what is matched.
  const std::optional<NamedRange> missing = first_missing(opened, read, true);
  return missing ? explain_incomplete(opened, read, *missing) : error;
}

std::vector<FileShape> shapes_of(const std::vector<ReadFile>& files) {
  std::vector<FileShape> shapes;
  for (const ReadFile& file : files) shapes.push_back({file.memory, file.name, file.bytes.size()});
  return shapes;
}

Error explain_unloadable(Error error, const OpenedBundle& opened, const std::vector<FileShape>& files) {
  switch (error.reason) {
    case Reason::kImageSize: {
      const auto file = std::ranges::find(files, error.file, &FileShape::name);
      if (file != files.end()) word_size(opened, *file, error);
      break;
    }
    case Reason::kImageOutside:
      error.next =
          "the file is of another controller, or holds more than its memory: check that file and bundle "
          "belong to the same controller";
      break;
    case Reason::kMemoryUnknown:
    case Reason::kMemoryMissing:
    case Reason::kFormUnknown:
      break;
    default:
      return error;
  }
  error.expected += ", for " + bundle_for(opened);
  return error;
}

Error explain_swapped(Error error, const OpenedBundle& opened, const std::vector<ReadFile>& files,
                      const std::vector<OpenedBundle>& others) {
  constexpr Reason kOfAnother[] = {Reason::kReadForeign,  Reason::kReadIncomplete, Reason::kImageSize,
                                   Reason::kImageOutside, Reason::kMemoryMissing,  Reason::kMemoryUnknown,
                                   Reason::kFormUnknown};
  if (std::ranges::find(kOfAnother, error.reason) == std::end(kOfAnother)) return error;
  for (const OpenedBundle& other : others) {
    if (other.map.controller == opened.map.controller) continue;
    const Result<Read> read = load_held_read(other.map, files);
    if (!read) continue;
    const bool whole = fits(other.manifest, read->image);
    if (!whole && !recognised(other.map, read->image)) continue;
    error.found = "a read of controller " + other.map.controller +
                  (whole ? ", whose bundle is " + other.name : ", as far as its recognition bytes tell") +
                  "; " + error.found;
    error.expected = "a read of " + bundle_for(opened);
    error.next = "the reads are swapped: give this bundle the read of controller " + opened.map.controller +
                 ", and this read to the bundle for " + other.map.controller;
    return error;
  }
  return error;
}

Error explain_other_base(Error error, const OpenedBundle& opened, const Image& read, const Manifest& other) {
  const Manifest& own = opened.manifest;
  if (error.reason != Reason::kReadForeign || other.base_number == own.base_number || !fits(other, read))
    return error;
  error.found = "the software of base " + std::to_string(other.base_number) + " of this job; " + error.found;
  error.expected = "the software of " + base_text(own);
  error.next =
      other.base_number < own.base_number
          ? "do not write: the read is from before the controller's update or replacement; read it again now"
          : "do not write: the controller was updated or replaced since; use the revisions of its new base";
  return error;
}

}  // namespace calseal
