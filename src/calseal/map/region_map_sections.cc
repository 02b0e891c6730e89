// The lists of a region map other than memories, forms and checksums.
#include <algorithm>
#include <numeric>

#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

std::vector<JsonNode> optional_items(JsonObject& object, std::string_view key,
                                     std::size_t limit = kMapItemLimit) {
  const auto node = object.optional(key);
  return node ? node->items(limit) : std::vector<JsonNode>();
}

Bytes read_mask(JsonObject& object, std::size_t size) {
  const auto node = object.optional("mask");
  return node ? node->hex(size, size) : Bytes(size, 0xff);
}

// Sorts items by `place`, and their origins with them.
template <typename Item, typename PlaceOf>
void sort_with_origins(std::vector<Item>& items, std::vector<Where>& origins, PlaceOf place_of) {
  std::vector<std::size_t> order(items.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return place_of(items[a]) < place_of(items[b]); });
  std::vector<Item> sorted_items;
  std::vector<Where> sorted_origins;
  sorted_items.reserve(items.size());
  sorted_origins.reserve(items.size());
  for (const std::size_t i : order) {
    sorted_items.push_back(std::move(items[i]));
    sorted_origins.push_back(origins[i]);
  }
  items = std::move(sorted_items);
  origins = std::move(sorted_origins);
}

}  // namespace

void read_recognition(Draft& draft, JsonObject& top) {
  const auto node = top.optional("recognise");
  if (!node) return;
  JsonObject object(*node);
  for (const JsonNode& item : optional_items(object, "all")) {
    JsonObject match(item);
    Recognition::Match read;
    const std::size_t memory = read_memory(draft, match);
    const std::uint64_t at = match.address("at");
    read.bytes = read_bytes(match, "bytes", kBytesLimit);
    read.mask = read_mask(match, read.bytes.size());
    read.place = {memory, read_range(draft, item, memory, at, read.bytes.size())};
    match.done();
    draft.map.recognition.all.push_back(std::move(read));
  }
  if (const auto numbers = object.optional("software_numbers")) {
    draft.software_numbers = draft.keep(*numbers);
    for (const JsonNode& number : numbers->items(kMapItemLimit)) {
      draft.map.recognition.software_numbers.push_back(read_line(number));
    }
  }
  if (draft.map.recognition.all.empty() && draft.map.recognition.software_numbers.empty()) {
    node->refuse(Reason::kJsonValue, "nothing to recognise by",
                 "\"all\" or \"software_numbers\" with an element");
  }
  object.done();
}

void read_regions(Draft& draft, JsonObject& top) {
  NameList names;
  for (const JsonNode& node : top.items("regions", kMapItemLimit)) {
    JsonObject object(node);
    Region region;
    region.name = names.read(draft, object);
    const std::size_t memory = read_memory(draft, object);
    const std::uint64_t begin = object.address("start");
    const std::uint64_t size = read_size(object);
    const bool repeats = object.has("count") || object.has("stride");
    const std::uint64_t count = repeats ? object.number("count", 1, kMapItemLimit) : 1;
    const std::uint64_t stride = repeats ? object.number("stride", 1, kAddressLimit) : 0;
    region.policy = static_cast<Policy>(object.choice("policy", {kPolicyNames.begin(), kPolicyNames.end()}));
    region.note = read_note(object);
    object.done();
    if (count > kMapItemLimit - draft.map.regions.size()) {
      node.refuse(Reason::kJsonValue,
                  std::to_string(draft.map.regions.size() + count) + " regions after repetition",
                  "at most " + std::to_string(kMapItemLimit));
      return;
    }
    region.place = {memory, read_range(draft, node, memory, begin, size, count, stride)};
    const Where where = draft.keep(node);
    for (std::uint64_t i = 0; i < count; ++i) {
      Region one = region;
      if (repeats) one.name += "[" + std::to_string(i) + "]";
      one.place = shifted(region.place, stride, i);
      draft.map.regions.push_back(std::move(one));
      draft.regions.push_back(where);
    }
  }
  sort_with_origins(draft.map.regions, draft.regions, [](const Region& region) { return region.place; });
}

void read_patches(Draft& draft, JsonObject& top) {
  NameList names;
  for (const JsonNode& node : optional_items(top, "permitted_patches")) {
    JsonObject object(node);
    PermittedPatch patch;
    patch.name = names.read(draft, object);
    const std::size_t memory = read_memory(draft, object);
    const std::uint64_t at = object.address("at");
    patch.before = read_bytes(object, "before", kBytesLimit);
    patch.after = read_bytes(object, "after", kBytesLimit);
    patch.note = read_note(object);
    object.done();
    if (patch.before.size() != patch.after.size() || patch.before == patch.after) {
      node.refuse(Reason::kJsonValue,
                  std::to_string(patch.before.size()) + " bytes before, " +
                      (patch.before == patch.after ? "the same" : std::to_string(patch.after.size())) +
                      " after",
                  "as many bytes before as after, and others");
    }
    patch.place = {memory, read_range(draft, node, memory, at, patch.before.size())};
    draft.map.patches.push_back(std::move(patch));
    draft.patches.push_back(draft.keep(node));
  }
}

void read_copies(Draft& draft, JsonObject& top) {
  NameList names;
  for (const JsonNode& node : optional_items(top, "copies")) {
    JsonObject object(node);
    Copy copy;
    copy.name = names.read(draft, object);
    copy.to = read_place(draft, object);
    if (const auto of = object.required("of")) {
      JsonObject source(*of);
      copy.of = read_place(draft, source, "start", copy.to.range.size());
      source.done();
    }
    if (const auto transform = object.optional("transform")) {
      copy.transform = static_cast<CopyTransform>(transform->choice({"plain", "complement", "offset"}));
    }
    const bool has_offset = object.has("offset");
    if (has_offset) copy.offset = static_cast<std::uint8_t>(object.integer("offset", 0, 255));
    if (has_offset != (copy.transform == CopyTransform::kOffset)) {
      node.refuse(Reason::kJsonValue, has_offset ? "an \"offset\" for another transform" : "no \"offset\"",
                  "\"offset\" together with the transform \"offset\", and only then");
    }
    if (const auto marker = object.optional("active_bank")) {
      JsonObject bank(*marker);
      ActiveBank read;
      const std::size_t memory = read_memory(draft, bank);
      const std::uint64_t at = bank.address("at");
      read.equals = read_bytes(bank, "equals", kMarkerSizeLimit);
      read.place = {memory, read_range(draft, *marker, memory, at, read.equals.size())};
      bank.done();
      copy.active_bank = std::move(read);
    }
    object.done();
    draft.map.copies.push_back(std::move(copy));
    draft.copies.push_back(draft.keep(node));
  }
}

namespace {

// See "Patterns" in docs/region-map.md.
bool is_pattern(std::string_view pattern) {
  if (pattern.empty() || pattern.size() > kPatternLimit) return false;
  if (!std::all_of(pattern.begin(), pattern.end(), [](char c) { return c >= 0x20 && c <= 0x7e; }))
    return false;
  for (std::size_t i = 0; i < pattern.size(); ++i) {
    if (pattern[i] == '\\') {
      if (++i == pattern.size()) return false;
    } else if (pattern[i] == '*' && i + 1 != pattern.size()) {
      return false;
    }
  }
  return true;
}

}  // namespace

void read_identity(Draft& draft, JsonObject& top) {
  NameList names;
  for (const JsonNode& node : optional_items(top, "identity")) {
    JsonObject object(node);
    IdentityField field;
    field.name = names.read(draft, object);
    field.kind = static_cast<IdentityKind>(
        object.choice("kind", {kIdentityKindNames.begin(), kIdentityKindNames.end()}));
    const std::size_t memory = read_memory(draft, object);
    const std::uint64_t at = object.address("at");
    const std::uint64_t size = object.number("size", 1, kFieldSizeLimit);
    field.encoding = static_cast<IdentityEncoding>(
        object.choice("encoding", {"ascii", "bcd", "integer-little", "integer-big", "hex"}));
    const bool is_integer =
        field.encoding == IdentityEncoding::kIntegerLittle || field.encoding == IdentityEncoding::kIntegerBig;
    if (is_integer && size > 8) {
      node.refuse(Reason::kJsonValue, "an integer of " + std::to_string(size) + " bytes", "1 to 8 bytes");
    }
    if (const auto pattern = object.optional("pattern")) {
      field.pattern = pattern->text();
      if (!is_pattern(field.pattern)) {
        pattern->refuse(
            Reason::kJsonValue, "\"" + printable(field.pattern, 70) + "\"",
            "1 to 256 printable ASCII characters, '*' only at the end, something after each '\\'");
      }
    }
    if (object.has("binds")) field.binds = object.boolean("binds");
    object.done();
    field.place = {memory, read_range(draft, node, memory, at, size)};
    draft.map.identity.push_back(std::move(field));
    draft.identity.push_back(draft.keep(node));
  }
}

void check_software_numbers(Draft& draft) {
  if (draft.software_numbers == nullptr) return;
  const bool has_field =
      std::any_of(draft.map.identity.begin(), draft.map.identity.end(),
                  [](const IdentityField& f) { return f.kind == IdentityKind::kSoftwareNumber; });
  if (has_field) return;
  draft.refuse(Phase::kNames, Reason::kMapName, *draft.software_numbers,
               "software numbers, and no field to read one from",
               "an identity field of kind \"software-number\"", "declare the field, or remove the numbers");
}

void read_signed_parts(Draft& draft, JsonObject& top) {
  NameList names;
  for (const JsonNode& node : optional_items(top, "manufacturer_signed")) {
    JsonObject object(node);
    SignedPart part;
    part.name = names.read(draft, object);
    std::vector<Where> origins;
    for (const JsonNode& item : object.items("places", kMapItemLimit)) {
      JsonObject place(item);
      part.places.push_back(read_place(draft, place));
      place.done();
      origins.push_back(draft.keep(item));
    }
    if (part.places.empty())
      node.refuse(Reason::kJsonValue, "no place", "at least one place under \"places\"");
    object.done();
    draft.map.signed_parts.push_back(std::move(part));
    draft.signed_places.push_back(std::move(origins));
  }
}

void read_sectors(Draft& draft, JsonObject& top) {
  for (const JsonNode& node : optional_items(top, "erase_sectors")) {
    JsonObject object(node);
    const std::size_t memory = read_memory(draft, object);
    const std::uint64_t begin = object.address("start");
    const std::uint64_t size = read_size(object);
    const std::uint64_t count = object.number("count", 1, kSectorLimit);
    object.done();
    if (count > kSectorLimit - draft.map.sectors.size()) {
      node.refuse(Reason::kJsonValue, std::to_string(draft.map.sectors.size() + count) + " erase sectors",
                  "at most " + std::to_string(kSectorLimit));
      return;
    }
    if (memory >= draft.map.memories.size()) continue;
    const Range extent = draft.map.memories[memory].extent;
    // At most 2^32 * 65536 bytes: this cannot wrap. Holes between segments have sectors too.
    const auto all = make_range(begin, size * count, kAddressLimit);
    if (!all || all->empty() || !extent.contains(*all)) {
      draft.refuse(
          Phase::kRanges, Reason::kMapRange, node,
          std::to_string(count) + " sectors of " + std::to_string(size) + " bytes from " +
              address_text(begin),
          "at least one byte each, all inside " + draft.map.memories[memory].name + " " + range_text(extent),
          "correct start, size or count");
      continue;
    }
    const Where where = draft.keep(node);
    for (std::uint64_t i = 0; i < count; ++i) {
      draft.map.sectors.push_back({memory, {begin + i * size, begin + (i + 1) * size}});
      draft.sectors.push_back(where);
    }
  }
  sort_with_origins(draft.map.sectors, draft.sectors, [](const Place& place) { return place; });
}

void read_link(Draft& draft, JsonObject& top) {
  const auto node = top.optional("link");
  if (!node) return;
  JsonObject object(*node);
  LinkRates link;
  link.read = object.integer("read_rate", 1, kLinkRateLimit);
  link.write = object.integer("write_rate", 1, kLinkRateLimit);
  object.done();
  draft.map.link = link;
}

}  // namespace calseal::region_map_draft
