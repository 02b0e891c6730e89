#include "calseal/map/read.h"

#include <algorithm>
#include <optional>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/map/segments.h"

namespace calseal {
namespace {

Status lay(const RegionMap& map, std::size_t index, Range range, ByteView bytes, const std::string& file,
           Image& image) {
  Memory& memory = image.memories[index];
  if (memory.known.overlaps(range)) {
    return fail({Reason::kRecordOverlap, file, place_text(map, {index, range}),
                 "bytes that another file gave already", "each byte from one file", "give each memory once"});
  }
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

// Returns the only memory that the file has bytes of, or nothing when there are several.
Result<std::optional<std::size_t>> lay_segments(const RegionMap& map, std::optional<std::size_t> named,
                                                const FormFile& form, const std::string& file, Image& image) {
  std::vector<bool> touched(map.memories.size(), false);
  for (const Segment& segment : form.segments) {
    const Range range{segment.address, segment.address + segment.bytes.size()};
    CALSEAL_ASSIGN(const std::vector<Place> places, places_of(map, named, range, file));
    ByteView rest = segment.bytes;
    for (const Place& place : places) {
      const auto size = static_cast<std::size_t>(place.range.size());
      touched[place.memory] = true;
      CALSEAL_CHECK(lay(map, place.memory, place.range, rest.first(size), file, image));
      rest = rest.subspan(size);
    }
  }
  for (std::size_t i = 0; i < map.memories.size(); ++i) {
    if (touched[i] && map.memories[i].hole_is_fill) image.memories[i].known.add(segments_of(map.memories[i]));
  }
  if (std::ranges::count(touched, true) != 1) return std::nullopt;
  return static_cast<std::size_t>(std::ranges::find(touched, true) - touched.begin());
}

std::uint64_t block_size(const FormDeclaration::Block& block) {
  switch (block.kind) {
    case FormDeclaration::Block::Kind::kMemory:
      return block.place.range.size();
    case FormDeclaration::Block::Kind::kConstant:
      return block.constant.size();
    case FormDeclaration::Block::Kind::kOpaque:
      return block.size;
  }
  return 0;
}

std::uint64_t form_size(const FormDeclaration& form) {
  std::uint64_t size = 0;
  for (const auto& block : form.blocks) size += block_size(block);
  return size;
}

// Offset of the first constant that `bytes`, as long as the form, does not hold.
std::optional<std::uint64_t> wrong_constant(const FormDeclaration& form, ByteView bytes) {
  std::uint64_t at = 0;
  for (const auto& block : form.blocks) {
    const std::uint64_t size = block_size(block);
    if (block.kind == FormDeclaration::Block::Kind::kConstant &&
        !std::ranges::equal(block.constant,
                            bytes.subspan(static_cast<std::size_t>(at), static_cast<std::size_t>(size)))) {
      return at;
    }
    at += size;
  }
  return std::nullopt;
}

bool fits(const FormDeclaration& form, ByteView bytes) {
  return form_size(form) == bytes.size() && !wrong_constant(form, bytes);
}

// The size is that of a declared form, but a constant of it differs; nothing when no form has this size.
std::optional<Error> misfit(const RegionMap& map, ByteView bytes, const std::string& file) {
  for (const FormDeclaration& form : map.forms) {
    if (form_size(form) != bytes.size()) continue;
    const std::optional<std::uint64_t> at = wrong_constant(form, bytes);
    if (!at) continue;
    return Error{Reason::kFormUnknown,         file,
                 "offset " + grouped(*at),     "other bytes than the constant there",
                 "form \"" + form.name + "\"", "check that file and region map belong together"};
  }
  return std::nullopt;
}

Status lay_declared(const RegionMap& map, const FormDeclaration& form, ByteView bytes,
                    const std::string& file, Image& image) {
  for (const auto& block : form.blocks) {
    const auto size = static_cast<std::size_t>(block_size(block));
    if (block.kind == FormDeclaration::Block::Kind::kMemory) {
      CALSEAL_CHECK(lay(map, block.place.memory, block.place.range, bytes.first(size), file, image));
    }
    bytes = bytes.subspan(size);
  }
  return {};
}

Bytes render_declared(const FormDeclaration& form, const Bytes& original, const Image& image) {
  Bytes out = original;
  std::size_t at = 0;
  for (const auto& block : form.blocks) {
    if (block.kind == FormDeclaration::Block::Kind::kMemory) {
      std::ranges::copy(image.memories[block.place.memory].view(block.place.range),
                        out.begin() + static_cast<std::ptrdiff_t>(at));
    }
    at += static_cast<std::size_t>(block_size(block));
  }
  return out;
}

// A raw file is kept as it came and no second time as a segment.
Result<FormFile> parse_file(Bytes bytes, const std::string& name) {
  const FormKind kind = recognise_form(bytes);
  if (kind != FormKind::kRaw || bytes.empty()) return parse_form_as(kind, std::move(bytes), name);
  FormFile form;
  form.original = std::move(bytes);
  return form;
}

Result<ReadSource> lay_file(const RegionMap& map, ReadFile file, Image& image) {
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
  if (source.file.kind != FormKind::kRaw) {
    CALSEAL_ASSIGN(const std::optional<std::size_t> only,
                   lay_segments(map, named, source.file, file.name, image));
    if (only) source.memory = map.memories[*only].name;
    return source;
  }
  if (!named) {
    for (const FormDeclaration& form : map.forms) {
      if (!fits(form, source.file.original)) continue;
      source.form = form.name;
      source.declared = &form;
      CALSEAL_CHECK(lay_declared(map, form, source.file.original, file.name, image));
      return source;
    }
    if (map.memories.size() > 1) {
      if (auto error = misfit(map, source.file.original, file.name)) return fail(*std::move(error));
      std::string names;
      for (const auto& memory : map.memories) {
        names +=
            (names.empty() ? "" : ", ") + memory.name + " (" + grouped(segment_total(memory)) + " bytes)";
      }
      return fail({Reason::kMemoryMissing, file.name, "",
                   grouped(source.file.original.size()) + " raw bytes and several memories",
                   "the memory named: " + names, "write MEMORY=FILE"});
    }
    named = 0;
    source.memory = map.memories.front().name;
  }
  if (source.file.original.size() != segment_total(map.memories[*named]) && file.memory.empty()) {
    if (auto error = misfit(map, source.file.original, file.name)) return fail(*std::move(error));
  }
  CALSEAL_CHECK(lay_raw(map, *named, source.file.original, file.name, image));
  return source;
}

// A raw file that is its memory from end to end; no other file gives bytes of it then.
bool is_whole_memory(const RegionMap& map, const ReadSource& source) {
  if (source.declared != nullptr || source.file.kind != FormKind::kRaw) return false;
  const MemoryDeclaration& memory = map.memories[map.memory_index(source.memory)];
  return memory.segments.size() == 1 && memory.segments.front() == memory.extent;
}

Result<Bytes> render_source(const RegionMap& map, const ReadSource& source, const Image& image) {
  if (source.declared != nullptr) return render_declared(*source.declared, source.file.original, image);
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

Result<Read> load_read(const RegionMap& map, std::vector<ReadFile> files) {
  Read read;
  read.image = blank_image(map);
  for (ReadFile& file : files) {
    CALSEAL_ASSIGN(ReadSource source, lay_file(map, std::move(file), read.image));
    read.sources.push_back(std::move(source));
  }
  return read;
}

Result<std::vector<Bytes>> render_read(const RegionMap& map, const Read& read, const Image& image) {
  std::vector<Bytes> files;
  for (const ReadSource& source : read.sources) {
    CALSEAL_ASSIGN(Bytes file, render_source(map, source, image));
    files.push_back(std::move(file));
  }
  return files;
}

Result<std::vector<Bytes>> render_read(const RegionMap& map, const Read& read, Image&& image) {
  std::vector<Bytes> files;
  for (const ReadSource& source : read.sources) {
    if (is_whole_memory(map, source)) {
      files.push_back(std::move(image.memories[map.memory_index(source.memory)].bytes));
      continue;
    }
    CALSEAL_ASSIGN(Bytes file, render_source(map, source, image));
    files.push_back(std::move(file));
  }
  return files;
}

}  // namespace calseal
