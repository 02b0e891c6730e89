#include "calseal/map/read.h"

#include <algorithm>
#include <optional>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/image/entropy.h"
#include "calseal/map/segments.h"
#include "calseal/map/wrapping.h"

namespace calseal {
namespace {

void hold(const RegionMap& map, const std::vector<RangeSet>& ranges, Image& image) {
  for (std::size_t m = 0; m < ranges.size(); ++m) image.memories[m].hold(ranges[m], map.memories[m].fill);
}

Status require_free(const RegionMap& map, const Place& place, const std::string& file, const Image& image) {
  if (!image.memories[place.memory].known.overlaps(place.range)) return {};
  return fail({Reason::kRecordOverlap, file, place_text(map, place), "bytes that another file gave already",
               "each byte from one file", "give each memory once"});
}

// The room must be there already: it is made once for all parts of a file.
Status lay(const RegionMap& map, std::size_t index, Range range, ByteView bytes, const std::string& file,
           Image& image) {
  CALSEAL_CHECK(require_free(map, {index, range}, file, image));
  Memory& memory = image.memories[index];
  std::ranges::copy(bytes, memory.span(range).begin());
  memory.known.add(range);
  return {};
}

Status lay_raw(const RegionMap& map, std::size_t index, ByteView bytes, const std::string& file,
               Image& image) {
  const MemoryDeclaration& memory = map.memories[index];
  const std::uint64_t total = segment_total(memory);
  if (bytes.size() != total) {
    return fail(
        {Reason::kImageSize, file, memory.name, grouped(bytes.size()) + " bytes", grouped(total) + " bytes",
         bytes.size() < total
             ? "the file is too short: read the controller again, or declare its form in the region map"
             : "the file is too long: check memory and file, or declare its form in the region map"});
  }
  image.memories[index].hold(segments_of(memory), memory.fill);
  for (const Range& segment : memory.segments) {
    CALSEAL_CHECK(
        lay(map, index, segment, bytes.first(static_cast<std::size_t>(segment.size())), file, image));
    bytes = bytes.subspan(static_cast<std::size_t>(segment.size()));
  }
  return {};
}

// Where the bytes of a record file at these addresses belong: the only memory that has them all, or several
// that share them without doubt. `named` leaves no choice.
Result<std::vector<Place>> places_of(const RegionMap& map, std::optional<std::size_t> named, Range range,
                                     const std::string& file) {
  std::vector<Place> whole, parts;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    if (named && *named != m) continue;
    const RangeSet inside = segments_of(map.memories[m]).within(range);
    for (const Range& part : inside.ranges()) parts.push_back({m, part});
    if (inside.contains(range)) whole.push_back({m, range});
  }
  if (whole.size() == 1) return whole;
  std::ranges::sort(parts, {}, &Place::range);
  for (std::size_t i = 1; i < parts.size(); ++i) {
    if (!parts[i - 1].range.overlaps(parts[i].range)) continue;
    return fail({Reason::kMemoryMissing, file, range_text(intersect(parts[i - 1].range, parts[i].range)),
                 "addresses that memories " + map.memories[parts[i - 1].memory].name + " and " +
                     map.memories[parts[i].memory].name + " both have",
                 "the memory named", "write MEMORY=FILE"});
  }
  std::uint64_t at = range.begin;
  for (const Place& part : parts) {
    if (part.range.begin != at) break;
    at = part.range.end;
  }
  if (at == range.end) return parts;
  const auto next = std::ranges::find_if(parts, [&](const Place& part) { return part.range.begin > at; });
  return fail({Reason::kImageOutside, file,
               range_text({at, next == parts.end() ? range.end : next->range.begin}),
               "bytes at addresses that " +
                   (named ? "memory " + map.memories[*named].name + " does not have" : "no memory has"),
               "addresses of the region map's memories", "check that file and region map belong together"});
}

// Bytes that are known to be `value` without standing in a file.
void fill(Read& read, std::size_t index, const RangeSet& set, std::uint8_t value) {
  if (set.empty()) return;
  Memory& memory = read.image.memories[index];
  memory.hold(set, value);
  for (const Range& range : set.ranges()) std::ranges::fill(memory.span(range), value);
  if (read.filled.empty()) read.filled.resize(read.image.memories.size());
  read.filled[index].add(set);
  memory.known.add(set);
}

// Room for the segments up to the first that has no place.
void hold_segments(const RegionMap& map, std::optional<std::size_t> named, const FormFile& form,
                   const std::string& file, Image& image) {
  std::vector<std::vector<Range>> ranges(map.memories.size());
  for (const Segment& segment : form.segments) {
    const Result<std::vector<Place>> places =
        places_of(map, named, {segment.address, segment.address + segment.bytes.size()}, file);
    if (!places) break;
    for (const Place& place : *places) ranges[place.memory].push_back(place.range);
  }
  std::vector<RangeSet> held;
  for (std::vector<Range>& of_memory : ranges) held.push_back(RangeSet::of(std::move(of_memory)));
  hold(map, held, image);
}

// Returns the only memory that the file has bytes of, or nothing when there are several.
Result<std::optional<std::size_t>> lay_segments(const RegionMap& map, std::optional<std::size_t> named,
                                                const FormFile& form, const std::string& file, Read& read) {
  hold_segments(map, named, form, file, read.image);
  std::vector<bool> touched(map.memories.size(), false);
  for (const Segment& segment : form.segments) {
    const Range range{segment.address, segment.address + segment.bytes.size()};
    CALSEAL_ASSIGN(const std::vector<Place> places, places_of(map, named, range, file));
    ByteView rest = segment.bytes;
    for (const Place& place : places) {
      const auto size = static_cast<std::size_t>(place.range.size());
      touched[place.memory] = true;
      CALSEAL_CHECK(lay(map, place.memory, place.range, rest.first(size), file, read.image));
      rest = rest.subspan(size);
    }
  }
  for (std::size_t i = 0; i < map.memories.size(); ++i) {
    if (!touched[i] || !map.memories[i].hole_is_fill) continue;
    RangeSet holes = segments_of(map.memories[i]);
    holes.remove(read.image.memories[i].known);
    fill(read, i, holes, map.memories[i].fill);
  }
  if (std::ranges::count(touched, true) != 1) return std::nullopt;
  return static_cast<std::size_t>(std::ranges::find(touched, true) - touched.begin());
}

// A raw file is kept as it came and no second time as a segment.
Result<FormFile> parse_file(Bytes bytes, const std::string& name) {
  const FormKind kind = recognise_form(bytes);
  if (kind != FormKind::kRaw || bytes.empty()) return parse_form_as(kind, std::move(bytes), name);
  FormFile form;
  form.original = std::move(bytes);
  return form;
}

Status lay_declared(const RegionMap& map, const FormDeclaration& form, ByteView bytes,
                    const std::string& file, Read& read) {
  const std::vector<WrappedPart> parts = wrapped_parts(form);
  std::vector<RangeSet> held(map.memories.size());
  for (const WrappedPart& part : parts) held[part.place.memory].add(part.place.range);
  hold(map, held, read.image);
  for (const WrappedPart& part : parts) {
    const ByteView there =
        bytes.subspan(static_cast<std::size_t>(part.at), static_cast<std::size_t>(part.place.range.size()));
    CALSEAL_CHECK(lay(map, part.place.memory, part.place.range, there, file, read.image));
  }
  for (const Place& place : form.omitted) {
    CALSEAL_CHECK(require_free(map, place, file, read.image));
    fill(read, place.memory, RangeSet(place.range), form.fill);
  }
  return {};
}

// What a file that nothing declared fits is, beyond the error that says so.
Error explain_raw(const RegionMap& map, ByteView bytes, const std::string& file, Error error) {
  if (!looks_opaque(bytes)) return misfit_of(map, bytes, file).value_or(std::move(error));
  return {Reason::kFormOpaque,
          file,
          "",
          grouped(bytes.size()) + " bytes, nearly all of which look random",
          "the image as it is, or in a form that the region map declares",
          "save the read without encryption and compression, or have whoever encrypted it undo that"};
}

// The declared form that a raw file has; nothing when it has none. With `named`, forms of that memory alone.
Result<const FormDeclaration*> form_of(const RegionMap& map, std::optional<std::size_t> named, ByteView bytes,
                                       const std::string& file) {
  std::optional<Error> broken;
  for (const FormDeclaration& form : map.forms) {
    if (!form.is_readable() || !wrapping_fits(form, bytes)) continue;
    if (named && !is_of_memory(form, *named)) continue;
    Status holds = verify_wrapping(form, bytes, file);
    if (holds) return &form;
    if (!broken) broken = std::move(holds).error();
  }
  if (broken) return fail(*std::move(broken));
  return nullptr;
}

Status refuse_unreadable(const RegionMap& map, ByteView bytes, const std::string& file) {
  for (const FormDeclaration& form : map.forms) {
    if (form.is_readable() || !text_of(bytes).starts_with(text_of(form.signature))) continue;
    return fail({Reason::kFormOpaque, file, "offset 0",
                 hex_excerpt(form.signature) + ", as form \"" + form.name + "\" begins",
                 "a form that can be read: this one is declared encrypted or compressed",
                 form.note.empty() ? "save the read in another form" : printable(form.note)});
  }
  return {};
}

// The memory of exactly this size, when only one has it.
std::optional<std::size_t> memory_of_size(const RegionMap& map, std::uint64_t size) {
  std::optional<std::size_t> found;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    if (segment_total(map.memories[m]) != size) continue;
    if (found) return std::nullopt;
    found = m;
  }
  return found;
}

Result<ReadSource> lay_raw_file(const RegionMap& map, std::optional<std::size_t> named, ReadSource source,
                                Read& read) {
  const ByteView bytes = source.file.original;
  const bool fills = named && bytes.size() == segment_total(map.memories[*named]);
  if (!fills) {
    CALSEAL_ASSIGN(source.declared, form_of(map, named, bytes, source.name));
  }
  if (source.declared != nullptr) {
    source.form = source.declared->name;
    CALSEAL_CHECK(lay_declared(map, *source.declared, bytes, source.name, read));
    return source;
  }
  CALSEAL_CHECK(refuse_unreadable(map, bytes, source.name));
  if (!named) named = memory_of_size(map, bytes.size());
  if (!named && map.memories.size() > 1) {
    std::string names;
    for (const auto& memory : map.memories) {
      names += (names.empty() ? "" : ", ") + memory.name + " (" + grouped(segment_total(memory)) + " bytes)";
    }
    return fail(explain_raw(map, bytes, source.name,
                            {Reason::kMemoryMissing, source.name, "",
                             grouped(bytes.size()) + " raw bytes, not the size of one memory alone",
                             "the memory named: " + names, "write MEMORY=FILE"}));
  }
  if (!named) named = 0;
  source.memory = map.memories[*named].name;
  const MemoryDeclaration& declared = map.memories[*named];
  Memory& memory = read.image.memories[*named];
  if (memory.known.empty() && bytes.size() == declared.extent.size() && declared.segments.size() == 1 &&
      declared.segments.front() == declared.extent) {
    memory.bytes = std::move(source.file.original);
    memory.held.reset();
    memory.known.add(declared.extent);
    source.is_memory = true;
    return source;
  }
  Status laid = lay_raw(map, *named, bytes, source.name, read.image);
  if (!laid && laid.error().reason == Reason::kImageSize)
    return fail(explain_raw(map, bytes, source.name, std::move(laid).error()));
  CALSEAL_CHECK(std::move(laid));
  return source;
}

Result<ReadSource> lay_file(const RegionMap& map, ReadFile file, Read& read) {
  ReadSource source;
  source.memory = file.memory;
  source.name = file.name;
  std::optional<std::size_t> named;
  if (!file.memory.empty()) {
    named = map.memory_index(file.memory);
    if (*named == map.memories.size()) {
      std::string names;
      for (const auto& memory : map.memories) names += (names.empty() ? "" : ", ") + memory.name;
      return fail({Reason::kMemoryUnknown, file.name, "", "memory \"" + printable(file.memory, 64) + "\"",
                   "one of " + names, "correct the name before the equals sign"});
    }
  }
  CALSEAL_ASSIGN(source.file, parse_file(std::move(file.bytes), file.name));
  source.form = form_name(source.file.kind);
  if (source.file.kind == FormKind::kRaw) return lay_raw_file(map, named, std::move(source), read);
  CALSEAL_ASSIGN(const std::optional<std::size_t> only,
                 lay_segments(map, named, source.file, file.name, read));
  if (only) source.memory = map.memories[*only].name;
  return source;
}

Result<Bytes> render_source(const RegionMap& map, const ReadSource& source, const Image& image) {
  if (source.declared != nullptr) return wrap(*source.declared, source.file.original, image, source.name);
  if (source.file.kind == FormKind::kRaw) {
    const std::size_t index = map.memory_index(source.memory);
    return flat_bytes(map.memories[index], image.memories[index]);
  }
  std::vector<Segment> segments;
  for (const Segment& segment : source.file.segments) {
    const Range range{segment.address, segment.address + segment.bytes.size()};
    std::optional<std::size_t> named;
    if (!source.memory.empty()) named = map.memory_index(source.memory);
    CALSEAL_ASSIGN(const std::vector<Place> places, places_of(map, named, range, source.name));
    Bytes bytes;
    for (const Place& place : places) {
      const ByteView view = image.memories[place.memory].view(place.range);
      bytes.insert(bytes.end(), view.begin(), view.end());
    }
    segments.push_back({segment.address, std::move(bytes)});
  }
  return write_back(source.file, segments);
}

// Where no file holds a byte, there is no place for another one than the fill.
Status require_filled(const RegionMap& map, const Read& read, const Image& image) {
  for (std::size_t m = 0; m < read.filled.size(); ++m) {
    for (const Range& range : read.filled[m].ranges()) {
      const ByteView wanted = image.memories[m].view(range);
      const ByteView fill = read.image.memories[m].view(range);
      const auto at = std::ranges::mismatch(wanted, fill).in1;
      if (at == wanted.end()) continue;
      const std::uint64_t address = range.begin + static_cast<std::uint64_t>(at - wanted.begin());
      return fail({Reason::kFormOmits, read.sources.empty() ? "" : read.sources.front().name,
                   map.memories[m].name + " " + address_text(address),
                   hex_excerpt(wanted.subspan(static_cast<std::size_t>(at - wanted.begin()), 1)) +
                       " where the file has no place",
                   hex_excerpt(fill.first(1)) + ", the fill",
                   "read the controller in a form that holds these bytes"});
    }
  }
  return {};
}

}  // namespace

ReadFile parse_read_argument(const std::string& argument) {
  const std::size_t equals = argument.find('=');
  const std::string before = argument.substr(0, equals);
  const auto is_name = [](const std::string& text) {
    return !text.empty() && text.size() <= 64 && std::ranges::all_of(text, [](char c) {
      return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-';
    });
  };
  if (equals == std::string::npos || !is_name(before)) return {"", argument, {}};
  return {before, argument.substr(equals + 1), {}};
}

Image blank_image(const RegionMap& map) {
  Image image;
  for (const MemoryDeclaration& memory : map.memories) {
    image.memories.push_back(make_memory(memory.name, memory.extent, memory.fill));
  }
  return image;
}

Result<Read> load_held_read(const RegionMap& map, std::vector<ReadFile> files) {
  Read read;
  for (const MemoryDeclaration& memory : map.memories)
    read.image.memories.push_back(make_unread_memory(memory.name, memory.extent));
  for (ReadFile& file : files) {
    CALSEAL_ASSIGN(ReadSource source, lay_file(map, std::move(file), read));
    read.sources.push_back(std::move(source));
  }
  return read;
}

Result<Read> load_read(const RegionMap& map, std::vector<ReadFile> files) {
  CALSEAL_ASSIGN(Read read, load_held_read(map, std::move(files)));
  for (std::size_t m = 0; m < map.memories.size(); ++m) read.image.memories[m].hold_all(map.memories[m].fill);
  return read;
}

ByteView file_bytes(const Read& read, const ReadSource& source) {
  if (!source.is_memory) return source.file.original;
  return read.image.find(source.memory)->bytes;
}

Result<std::vector<Bytes>> render_read(const RegionMap& map, const Read& read, const Image& image) {
  CALSEAL_CHECK(require_filled(map, read, image));
  std::vector<Bytes> files;
  for (const ReadSource& source : read.sources) {
    CALSEAL_ASSIGN(Bytes file, render_source(map, source, image));
    files.push_back(std::move(file));
  }
  return files;
}

Result<std::vector<Bytes>> render_read(const RegionMap& map, const Read& read, Image&& image) {
  CALSEAL_CHECK(require_filled(map, read, image));
  std::vector<Bytes> files;
  for (const ReadSource& source : read.sources) {
    if (source.is_memory) {
      files.push_back(std::move(image.memories[map.memory_index(source.memory)].bytes));
      continue;
    }
    CALSEAL_ASSIGN(Bytes file, render_source(map, source, image));
    files.push_back(std::move(file));
  }
  return files;
}

}  // namespace calseal
