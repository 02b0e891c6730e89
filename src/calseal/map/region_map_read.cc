// The pieces that every section of a region map is made of: names, lines, places.
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

constexpr std::size_t kNameLimit = 64;

bool is_name(std::string_view text) {
  const auto letter_or_digit = [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); };
  return !text.empty() && text.size() <= kNameLimit && letter_or_digit(text.front()) &&
         std::all_of(text.begin(), text.end(),
                     [&](char c) { return letter_or_digit(c) || c == '-' || c == '_'; });
}

std::string quoted(std::string_view text) { return "\"" + printable(text, 70) + "\""; }

}  // namespace

std::string read_name(const JsonNode& node) {
  const bool is_text = node.is_text();
  std::string name = node.text();
  if (is_text && !is_name(name)) {
    node.refuse(Reason::kJsonValue, quoted(name),
                "a name: 1 to 64 of a-z, 0-9, '-' and '_', beginning with a letter or digit");
  }
  return name;
}

std::string NameList::read(Draft& draft, JsonObject& object) {
  const auto node = object.required("name");
  if (!node) return {};
  std::string name = read_name(*node);
  if (!taken_.insert(name).second) {
    draft.refuse(Phase::kNames, Reason::kMapName, *node, quoted(name) + " again",
                 "each name once in its list", "rename one of the two");
  }
  return name;
}

std::string read_line(const JsonNode& node) {
  const bool is_text = node.is_text();
  std::string line = node.text();
  const auto control = [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; };
  if (is_text && (line.empty() || std::any_of(line.begin(), line.end(), control))) {
    node.refuse(Reason::kJsonValue, quoted(line), "one line of text, not empty, without control characters");
  }
  return line;
}

std::string read_note(JsonObject& object) {
  const auto node = object.optional("note");
  return node ? node->text() : std::string();
}

std::size_t read_memory(Draft& draft, JsonObject& object, std::string_view key) {
  const auto node = object.required(key);
  if (!node) return 0;
  const std::string name = read_name(*node);
  const std::size_t index = draft.map.memory_index(name);
  if (index < draft.map.memories.size()) return index;
  std::string known;
  for (const MemoryDeclaration& memory : draft.map.memories)
    known += (known.empty() ? "" : ", ") + memory.name;
  draft.refuse(Phase::kNames, Reason::kMapName, *node, "a memory called " + quoted(name), "one of: " + known,
               "correct the name, or declare the memory under \"memories\"");
  return index;
}

ByteOrder read_order(JsonObject& object, bool required) {
  const auto node = required ? object.required("order") : object.optional("order");
  return node && node->choice({"little", "big"}) == 1 ? ByteOrder::kBig : ByteOrder::kLittle;
}

std::uint64_t read_size(JsonObject& object) { return object.number("size", 0, kAddressLimit); }

Bytes read_bytes(JsonObject& object, std::string_view key, std::size_t most) {
  return object.hex(key, 1, most);
}

Range read_range(Draft& draft, const JsonNode& where, std::size_t memory, std::uint64_t begin,
                 std::uint64_t size, std::uint64_t count, std::uint64_t stride) {
  if (memory >= draft.map.memories.size()) return {};  // the name was refused already
  if (size == 0) {
    draft.refuse(Phase::kRanges, Reason::kMapRange, where, "a range of 0 bytes", "at least one byte",
                 "give the range its size, or remove it");
    return {};
  }
  const MemoryDeclaration& declared = draft.map.memories[memory];
  for (std::uint64_t i = 0; i < count; ++i) {
    // Start below 2^32, stride at most 2^32 and count at most 65536: this cannot wrap.
    const auto range = make_range(begin + i * stride, size, kAddressLimit);
    if (range && draft.exists[memory].contains(*range)) continue;
    std::string found = range ? range_text(*range)
                              : std::to_string(size) + " bytes from " + hex_number(begin + i * stride, 8);
    if (count > 1) found += ", number " + std::to_string(i) + " of the repetition";
    const bool in_hole = range && declared.extent.contains(*range);
    draft.refuse(
        Phase::kRanges, Reason::kMapRange, where, std::move(found),
        (in_hole ? "inside one segment of " : "inside ") + declared.name + " " + range_text(declared.extent),
        "correct start, size or repetition; the last address of a range is start + size - 1");
    return {};
  }
  return {begin, begin + size};
}

Place read_place(Draft& draft, JsonObject& object, std::string_view start,
                 std::optional<std::uint64_t> size) {
  const std::size_t memory = read_memory(draft, object);
  const std::uint64_t begin = object.address(start);
  const std::uint64_t bytes = size ? *size : read_size(object);
  return {memory, read_range(draft, object.node(), memory, begin, bytes)};
}

}  // namespace calseal::region_map_draft
