// From text to a region map: the top level, the memories and the evidence; everything else has its own file.
#include <algorithm>

#include "calseal/base/json.h"
#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal {
namespace region_map_draft {
namespace {

constexpr std::string_view kKind = "region-map/";
constexpr std::string_view kFormat = "region-map/1";

// The kind decides before anything else: another format has other keys.
void read_kind(JsonObject& top) {
  const auto node = top.required("calseal");
  if (!node || !node->is_text()) {
    if (node) node->text();
    return;
  }
  const std::string kind = node->text();
  if (kind == kFormat) return;
  node->refuse(kind.starts_with(kKind) ? Reason::kFormatUnknown : Reason::kTypeWrong,
               "\"" + printable(kind, 60) + "\"", "\"" + std::string(kFormat) + "\"");
}

void read_segments(Draft& draft, JsonObject& object, MemoryDeclaration& memory) {
  const auto list = object.optional("segments");
  RangeSet exists;
  if (list) {
    const auto nodes = list->items(kMapItemLimit);
    if (nodes.empty()) list->refuse(Reason::kJsonValue, "no segment", "at least one, or no such key");
    for (const JsonNode& node : nodes) {
      JsonObject segment(node);
      const std::uint64_t begin = segment.address("start");
      const std::uint64_t size = read_size(segment);
      segment.done();
      const auto range = make_range(begin, size, kAddressLimit);
      if (!range || range->empty() || !memory.extent.contains(*range)) {
        draft.refuse(Phase::kRanges, Reason::kMapRange, node,
                     std::to_string(size) + " bytes from " + address_text(begin),
                     "at least one byte inside " + memory.name + " " + range_text(memory.extent),
                     "correct start or size of the segment");
        continue;
      }
      if (!memory.segments.empty() && range->begin < memory.segments.back().end) {
        const bool overlaps = range->overlaps(memory.segments.back());
        draft.refuse(
            overlaps ? Phase::kOverlaps : Phase::kRanges, overlaps ? Reason::kMapOverlap : Reason::kMapRange,
            node, range_text(*range) + " after " + range_text(memory.segments.back()),
            "segments in ascending order, apart from each other", "sort the segments, or merge the two");
        continue;
      }
      memory.segments.push_back(*range);
      exists.add(*range);
    }
  } else {
    memory.segments.push_back(memory.extent);
    exists.add(memory.extent);
  }
  draft.exists.push_back(std::move(exists));
}

}  // namespace

void read_memories(Draft& draft, JsonObject& top) {
  const auto list = top.required("memories");
  if (!list) return;
  const auto nodes = list->items(kMemoryCountLimit);
  if (list->kind() == JsonKind::kArray && nodes.empty()) {
    list->refuse(Reason::kJsonValue, "no memory", "1 to " + std::to_string(kMemoryCountLimit) + " memories");
  }
  NameList names;
  std::uint64_t total = 0;
  for (const JsonNode& node : nodes) {
    JsonObject object(node);
    MemoryDeclaration memory;
    memory.name = names.read(draft, object);
    const std::uint64_t origin = object.address("origin");
    const std::uint64_t size = read_size(object);
    const auto extent = make_range(origin, size, kAddressLimit);
    if (!extent || size == 0) {
      draft.refuse(Phase::kRanges, Reason::kMapRange, node,
                   std::to_string(size) + " bytes from " + address_text(origin),
                   "at least one byte, none above 0xffffffff", "correct origin or size of the memory");
    }
    memory.extent = extent.value_or(Range{origin, origin});
    total += size;
    if (total > kImageLimit) {
      draft.refuse(Phase::kRanges, Reason::kMapRange, node,
                   grouped(total) + " bytes in all memories up to this one",
                   "at most " + grouped(kImageLimit), "correct the size");
    }
    if (object.has("fill")) memory.fill = object.hex("fill", 1, 1).front();
    if (object.has("hole_is_fill")) memory.hole_is_fill = object.boolean("hole_is_fill");
    read_segments(draft, object, memory);
    object.done();
    draft.map.memories.push_back(std::move(memory));
  }
}

namespace {

Sha256 read_digest(const JsonNode& node) {
  const std::string text = node.text();
  const auto digest = parse_digest(text);
  if (!digest) {
    node.refuse(Reason::kJsonValue, "\"" + printable(text, 70) + "\"",
                "a SHA-256 as 64 lower-case hexadecimal digits");
  }
  return digest.value_or(Sha256{});
}

}  // namespace

void read_evidence(Draft& draft, JsonObject& top) {
  const auto node = top.required("evidence");
  if (!node) return;
  JsonObject object(*node);
  Evidence& evidence = draft.map.evidence;
  if (const auto author = object.required("author")) evidence.author = read_line(*author);
  for (const JsonNode& image : object.items("verified_on", kMapItemLimit))
    evidence.verified_on.push_back(read_digest(image));
  for (const JsonNode& guess : object.items("guesses", kMapItemLimit))
    evidence.guesses.push_back(read_line(guess));
  evidence.verified = object.choice("grade", {"draft", "verified"}) == 1;
  if (evidence.verified && evidence.verified_on.empty()) {
    node->refuse(Reason::kJsonValue, "grade \"verified\" and no image in \"verified_on\"",
                 "the SHA-256 of at least one image that the map was verified on");
  }
  object.done();
}

namespace {

void read_top(Draft& draft, JsonObject& top) {
  RegionMap& map = draft.map;
  if (const auto node = top.required("name")) map.name = read_name(*node);
  if (const auto node = top.optional("title")) map.title = read_line(*node);
  if (const auto node = top.required("controller")) map.controller = read_name(*node);
  map.version = top.integer("version", 1, kJsonIntegerLimit);
  map.note = read_note(top);
  read_memories(draft, top);
  read_recognition(draft, top);
  read_forms(draft, top);
  read_regions(draft, top);
  read_patches(draft, top);
  read_copies(draft, top);
  read_checksums(draft, top);
  read_identity(draft, top);
  check_software_numbers(draft);
  read_signed_parts(draft, top);
  read_sectors(draft, top);
  read_items(draft, top);
  read_link(draft, top);
  if (const auto node = top.optional("succeeds")) map.succeeds = read_digest(*node);
  read_evidence(draft, top);
  top.done();
}

}  // namespace
}  // namespace region_map_draft

Result<RegionMap> parse_region_map(Bytes text, const std::string& file) {
  using namespace region_map_draft;
  if (text.empty()) {
    return fail({Reason::kFileEmpty, file, "", "0 bytes", "a region map", "get the file again"});
  }
  if (text.size() > kRegionMapSizeLimit) {
    return fail({Reason::kFileTooLarge, file, "", grouped(text.size()) + " bytes",
                 "at most " + grouped(kRegionMapSizeLimit) + " bytes",
                 "make sure that this is a region map"});
  }
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text_of(text), file));
  Draft draft(text_of(text), file);
  const JsonNode root(draft.shape(), tree);
  JsonObject top(root);
  read_kind(top);
  if (auto fault = draft.fault()) return fail(*std::move(fault));
  read_top(draft, top);
  if (auto fault = draft.fault()) return fail(*std::move(fault));
  for (const auto lint : {lint_overlaps, lint_policies, lint_checksums}) {
    lint(draft);
    lint_form_files(draft, lint);
    if (auto fault = draft.fault()) return fail(*std::move(fault));
  }
  take_form_files(draft);
  draft.map.digest = compute_sha256(text);
  draft.map.text = std::move(text);
  return std::move(draft.map);
}

}  // namespace calseal
