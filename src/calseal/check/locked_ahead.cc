#include "calseal/check/locked_ahead.h"

#include <algorithm>
#include <utility>

namespace calseal {

LockedAhead::LockedAhead(const ManifestController& claims, const Image& image)
    : LockedAhead(claims, sources_of(image)) {}

LockedAhead::LockedAhead(const ManifestController& claims, const std::vector<ReadFile>& files)
    : LockedAhead(claims, sources_of(claims, files)) {}

LockedAhead::LockedAhead(const ManifestController& claims, const std::vector<Source>& sources)
    : parts_(parts_of(claims, sources)), forgotten_(parts_.size(), false), digests_(views_of(parts_)) {}

std::vector<LockedAhead::Source> LockedAhead::sources_of(const Image& image) {
  std::vector<Source> sources;
  for (const Memory& memory : image.memories) {
    if (memory.known.contains(memory.extent))
      sources.push_back({memory.name, memory.extent, memory.bytes, 0});
  }
  return sources;
}

std::vector<LockedAhead::Source> LockedAhead::sources_of(const ManifestController& claims,
                                                         const std::vector<ReadFile>& files) {
  std::vector<Source> sources;
  for (std::size_t i = 0; i < files.size(); ++i) {
    for (const ManifestMemory& memory : claims.memories) {
      const bool meant = files[i].memory == memory.name ||
                         (files[i].memory.empty() && (claims.memories.size() == 1 || files.size() == 1));
      if (meant && files[i].bytes.size() == memory.extent.size())
        sources.push_back({memory.name, memory.extent, files[i].bytes, i});
    }
  }
  return sources;
}

std::vector<LockedAhead::Part> LockedAhead::parts_of(const ManifestController& claims,
                                                     const std::vector<Source>& sources) {
  std::vector<Part> parts;
  for (const ManifestSpan& span : claims.spans) {
    if (span.kind != SpanKind::kLocked || !span.after) continue;
    const auto source = std::ranges::find(sources, span.place.memory, &Source::memory);
    if (source == sources.end() || !source->extent.contains(span.place.range)) continue;
    const auto at = static_cast<std::size_t>(span.place.range.begin - source->extent.begin);
    const auto size = static_cast<std::size_t>(span.place.range.size());
    parts.push_back({span.place, source->file, source->bytes.subspan(at, size)});
  }
  return parts;
}

std::vector<ByteView> LockedAhead::views_of(const std::vector<Part>& parts) {
  std::vector<ByteView> views;
  for (const Part& part : parts) views.push_back(part.begun);
  return views;
}

void LockedAhead::loaded(const Read& read) {
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const std::size_t file = parts_[i].file;
    forgotten_[i] = file >= read.sources.size() || !read.sources[file].is_memory ||
                    read.sources[file].memory != parts_[i].place.memory;
  }
}

std::optional<Sha256> LockedAhead::digest(const NamedRange& place, ByteView bytes) {
  if (next_ >= parts_.size() || parts_[next_].place != place)
    next_ = static_cast<std::size_t>(std::ranges::find(parts_, place, &Part::place) - parts_.begin());
  if (next_ == parts_.size()) return std::nullopt;
  const std::size_t index = next_++;
  if (forgotten_[index]) return std::nullopt;
  return digests_.finish(index, bytes);
}

}  // namespace calseal
