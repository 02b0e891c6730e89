#include "calseal/check/claims.h"

#include <algorithm>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/check/image_digests.h"
#include "calseal/digest/sha256_many.h"
#include "calseal/map/identity.h"

namespace calseal {

tl::unexpected<Error> claim_fault(std::string file, std::string place, std::string found,
                                  std::string expected) {
  return fail({Reason::kClaimMismatch, std::move(file), std::move(place), std::move(found),
               std::move(expected), "do not use this bundle; tell the shop"});
}

std::vector<ManifestMemory> describe_memories(const Plan& plan, const Image& image) {
  std::vector<ManifestMemory> memories;
  for (std::size_t m = 0; m < image.memories.size(); ++m) {
    memories.push_back(
        {plan.map->memories[m].name, plan.map->memories[m].extent, image.memories[m].known.ranges()});
  }
  return memories;
}

std::vector<ManifestSpan> describe_spans(const Plan& plan, const Image& image) {
  std::vector<ManifestSpan> spans;
  for (const Span& span : plan.spans(image)) {
    spans.push_back({{plan.map->memories[span.place.memory].name, span.place.range},
                     span.kind,
                     std::nullopt,
                     std::nullopt});
  }
  return spans;
}

void digest_spans(std::vector<ManifestSpan>& spans, const Image& image, Side side) {
  const auto digest = side == Side::kBefore ? &ManifestSpan::before : &ManifestSpan::after;
  const auto found = ImageDigests(image).of_spans(spans, [&](const ManifestSpan& span) {
    const Memory* memory = image.find(span.place.memory);
    return !(span.*digest) && is_pinned(span.kind) && memory != nullptr && memory->knows(span.place.range);
  });
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (found[i]) spans[i].*digest = found[i];
  }
}

Sha256 pinned_digest_of(const Plan& plan, const Image& image) {
  std::vector<ManifestSpan> spans = describe_spans(plan, image);
  digest_spans(spans, image, Side::kBefore);
  return compute_pinned_digest(spans, Side::kBefore);
}

void carry_unchanged_digests(std::vector<ManifestSpan>& spans, const RegionMap& map, const Image& after,
                             const std::vector<ChangedRange>& changed) {
  std::vector<RangeSet> differing(map.memories.size());
  for (const ChangedRange& change : changed) differing[change.place.memory].add(change.place.range);
  for (ManifestSpan& span : spans) {
    const std::size_t m = map.memory_index(span.place.memory);
    if (!span.before || m == map.memories.size() || !after.memories[m].knows(span.place.range)) continue;
    if (!differing[m].overlaps(span.place.range)) span.after = span.before;
  }
}

std::vector<NamedRange> describe_write_ranges(const Plan& plan, const Image& image) {
  std::vector<NamedRange> ranges;
  const std::vector<RangeSet> sets = plan.write_ranges(image);
  for (std::size_t m = 0; m < sets.size(); ++m) {
    for (const Range& range : sets[m].ranges()) ranges.push_back({plan.map->memories[m].name, range});
  }
  return ranges;
}

std::vector<ManifestFile> describe_received(const Read& read) {
  std::vector<ByteView> bytes;
  for (const ReadSource& source : read.sources) bytes.push_back(file_bytes(read, source));
  const std::vector<Sha256> digests = compute_sha256_of_each(bytes);
  std::vector<ManifestFile> files;
  for (std::size_t i = 0; i < bytes.size(); ++i)
    files.push_back({read.sources[i].memory, read.sources[i].form, bytes[i].size(), digests[i]});
  return files;
}

std::vector<PayloadPart> describe_payload(const Plan& plan, const Image& image, PayloadKind kind,
                                          std::uint64_t revision) {
  std::vector<RangeSet> sets(plan.map->memories.size());
  if (kind == PayloadKind::kAreas) {
    sets = plan.areas(image);
  } else if (revision == 0) {
    for (std::size_t m = 0; m < sets.size(); ++m) sets[m] = image.memories[m].known;
  } else {
    for (const Span& span : plan.spans(image)) {
      if (span.known && is_pinned(span.kind)) sets[span.place.memory].add(span.place.range);
    }
  }
  std::vector<PayloadPart> parts;
  for (std::size_t m = 0; m < sets.size(); ++m) {
    if (sets[m].empty()) continue;
    const std::string& memory = plan.map->memories[m].name;
    parts.push_back({memory, "payload/" + plan.map->controller + "/" + memory + ".bin", sets[m].ranges()});
  }
  return parts;
}

std::string describe_check(const CheckOutcome& outcome) {
  if (outcome.is_copy || outcome.floating || outcome.state == CheckState::kNotProvable) return {};
  // A rule has no slot of its own: its value over the coverage is what both sides can compare.
  std::string text = outcome.is_rule ? outcome.computed.substr(2) : outcome.stored;
  std::erase(text, ' ');
  return text;
}

std::vector<std::string> describe_identity(const Plan& plan, const Image& image) {
  std::vector<std::string> texts;
  for (const IdentityValue& value : read_identity(*plan.map, image)) {
    const Place& place = value.field->place;
    bool pinned = true;
    for (const SpanKind kind : {SpanKind::kVolatile, SpanKind::kFloating, SpanKind::kBinding}) {
      pinned = pinned && !plan.bytes_of(place.memory, kind).overlaps(place.range);
    }
    if (!value.field->binds) texts.push_back(pinned ? value.text : std::string());
  }
  return texts;
}

std::vector<Change> describe_changes(const Plan& plan, const Image& before,
                                     const std::vector<ChangedRange>& changed) {
  const std::vector<Span> spans = plan.spans(before);
  const auto span_of = [&](const Place& place) {
    return std::upper_bound(spans.begin(), spans.end(), place, [](const Place& value, const Span& span) {
      return std::pair(value.memory, value.range.begin) < std::pair(span.place.memory, span.place.range.end);
    });
  };
  std::vector<Change> changes;
  auto last_span = spans.end();
  for (const ChangedRange& change : changed) {
    if (!is_pinned(change.kind)) continue;
    const auto span = span_of(change.place);
    // compare_images() also cuts at patches and signed parts, which are no span edges.
    if (span == last_span && changes.back().place.range.end == change.place.range.begin) {
      changes.back().place.range.end = change.place.range.end;
      continue;
    }
    changes.push_back(
        {{plan.map->memories[change.place.memory].name, change.place.range}, change.region, ""});
    last_span = span;
  }
  return changes;
}

Sha256 salted_digest(ByteView salt, const RegionMap& map, const IdentityField& field, ByteView value) {
  const Range range = field.place.range;
  const std::string head = map.controller + " " + map.memories[field.place.memory].name + " " +
                           address_text(range.begin) + " " + std::to_string(range.size()) + "\n";
  Bytes message(head.begin(), head.end());
  message.insert(message.end(), value.begin(), value.end());
  return compute_hmac_sha256(salt, message);
}

Sha256 salted_digest(ByteView salt, const RegionMap& map, const IdentityField& field, const Image& image) {
  return salted_digest(salt, map, field, image.memories[field.place.memory].view(field.place.range));
}

bool field_says_something(const IdentityField& field, const Image& image) {
  const Memory& memory = image.memories[field.place.memory];
  if (!memory.knows(field.place.range)) return false;
  const ByteView bytes = memory.view(field.place.range);
  return !std::ranges::all_of(bytes, [](std::uint8_t b) { return b == 0x00; }) &&
         !std::ranges::all_of(bytes, [](std::uint8_t b) { return b == 0xff; });
}

}  // namespace calseal
