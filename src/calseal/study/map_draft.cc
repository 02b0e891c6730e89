#include "calseal/study/map_draft.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/map/plan.h"
#include "calseal/map/verify.h"
#include "calseal/study/damage.h"
#include "calseal/study/map_text.h"

namespace calseal {
namespace {

constexpr std::size_t kPartsListed = 512;
constexpr std::size_t kRepetitionsListed = 64;
constexpr std::size_t kRunsListed = 64;
constexpr std::size_t kVinsListed = 4;

// "1 in 4,096", capped where nobody counts any more.
std::string chance_words(const Candidate& one) {
  if (one.worth < 1) return "as likely as not";
  if (one.worth > 40) return "less than 1 in 1,000,000,000,000";
  return "1 in " + grouped(static_cast<std::uint64_t>(std::exp2(one.worth)));
}

class Writer {
 public:
  Writer(const ChecksumSearch& search, const DraftNames& names, const MapDraft& draft)
      : search_(search), names_(names), draft_(draft), size_(search.images.front().size()) {}

  Bytes text() {
    for (const Candidate& one : draft_.search.found) add_checksum(one);
    JsonValue map =
        json_object({{"calseal", json("region-map/1")},
                     {"name", json(names_.map)},
                     {"title", json("drafted from " + std::to_string(search_.images.size()) +
                                    (search_.images.size() == 1 ? " image" : " images") +
                                    "; nobody has vouched for it yet")},
                     {"controller", json(names_.controller)},
                     {"version", json(1)},
                     {"memories", list({json_object({{"name", json(names_.memory)},
                                                     {"origin", json(address_text(draft_.origin))},
                                                     {"size", json(hex_number(size_))}})})},
                     {"regions", list(regions())},
                     {"checksums", list(checksums_)}});
    if (!draft_.vins.empty()) map.members.emplace_back("identity", list(identity()));
    map.members.emplace_back("evidence", json_object({{"author", json(names_.author)},
                                                      {"verified_on", json_strings({})},
                                                      {"grade", json("draft")},
                                                      {"guesses", json_strings(all_guesses())}}));
    const std::string text = map_text(map);
    const ByteView view = view_of(text);
    return Bytes(view.begin(), view.end());
  }

 private:
  static JsonValue list(const std::vector<JsonValue>& values) {
    return json_array(values, [](const JsonValue& value) { return value; });
  }

  JsonValue range_json(Range range, std::string_view key = "start") const {
    return json_object({{"memory", json(names_.memory)},
                        {std::string(key), json(address_text(draft_.origin + range.begin))},
                        {"size", json(range.size())}});
  }
  std::string words(Range range) const {
    return range_text({draft_.origin + range.begin, draft_.origin + range.end});
  }

  std::vector<JsonValue> regions() const {
    std::vector<JsonValue> list;
    for (std::size_t i = 0; i < draft_.parts.size() && i < kPartsListed; ++i) {
      const ImagePart& part = draft_.parts[i];
      JsonValue value = range_json(part.range);
      value.members.insert(value.members.begin(),
                           {"name", json(std::string(part_look_name(part.look)) + "-" + std::to_string(i))});
      value.members.emplace_back("policy", json("locked"));
      list.push_back(std::move(value));
    }
    return list;
  }

  static JsonValue algorithm_json(const Candidate& one) {
    const SearchAlgorithm& algorithm = search_algorithms()[one.hit.algorithm];
    if (one.solved) {
      const CrcParameters& crc = one.solved->crc;
      return json_object({{"crc", json_object({{"width", json(crc.width)},
                                               {"poly", json(hex_number(crc.poly))},
                                               {"init", json(hex_number(crc.init))},
                                               {"refin", json(crc.refin)},
                                               {"refout", json(crc.refout)},
                                               {"xorout", json(hex_number(crc.xorout))}})}});
    }
    if (!algorithm.catalogue.empty()) return json_object({{"crc", json(algorithm.catalogue)}});
    const SumParameters& sum = algorithm.algorithm.sum;
    const std::string_view operation = sum.operation == SumOperation::kXor            ? "xor"
                                       : sum.operation == SumOperation::kAddEndAround ? "add-end-around"
                                                                                      : "add";
    return json_object({{"sum", json_object({{"unit", json(sum.unit)},
                                             {"order", json(sum.order == ByteOrder::kBig ? "big" : "little")},
                                             {"operation", json(operation)},
                                             {"accumulator", json(sum.accumulator)}})}});
  }

  JsonValue slot_json(std::uint64_t at, const Hit& hit, SlotTransform transform) const {
    JsonValue value = range_json({at, at + hit.size()}, "at");
    value.members.emplace_back("order", json(hit.storage.order == ByteOrder::kBig ? "big" : "little"));
    if (transform != SlotTransform::kPlain)
      value.members.emplace_back("transform",
                                 json(transform == SlotTransform::kNegate ? "negate" : "complement"));
    return value;
  }

  void add_slots(const Hit& hit, JsonValue& slots) const {
    slots.items.push_back(slot_json(hit.slot, hit, hit.storage.transform));
    if (hit.layout.pair == 0) return;
    const auto twin = static_cast<std::uint64_t>(static_cast<std::int64_t>(hit.slot) + hit.layout.pair);
    slots.items.push_back(slot_json(
        twin, hit,
        hit.storage.transform == SlotTransform::kPlain ? SlotTransform::kComplement : SlotTransform::kPlain));
  }

  void add_checksum(const Candidate& one) {
    const Hit& hit = one.hit;
    const std::string name = "found-" + std::to_string(checksums_.size());
    JsonValue value = json_object({{"name", json(name)}});
    value.members.emplace_back("note", json("found " + source_words(hit) + "; by chance: " +
                                            chance_words(one) + "; holds in " + std::to_string(one.images) +
                                            (one.images == 1 ? " image" : " images of different content")));
    value.members.emplace_back("algorithm", algorithm_json(one));
    value.members.emplace_back("coverage", json_array(std::vector<Range>{hit.coverage},
                                                      [&](const Range& range) { return range_json(range); }));
    if (hit.layout.own != Layout::Own::kOutside) {
      JsonValue own = range_json(hit.slot_range());
      own.members.emplace_back("as", json(hit.layout.own == Layout::Own::kAsZeros ? "00" : "ff"));
      value.members.emplace_back("substitute", json_array(std::vector<int>{0}, [&](int) { return own; }));
    }
    if (hit.has_slot()) {
      JsonValue slots = json_strings({});
      add_slots(hit, slots);
      for (const Hit& more : one.slots) add_slots(more, slots);
      value.members.emplace_back("slots", std::move(slots));
    } else {
      value.members.emplace_back("rule", json_object({{"equals", json(hex_number(hit.equals))}}));
    }
    if (!one.is_seen()) {
      value.members.emplace_back("drafted", json("from " + std::to_string(search_.images.size()) +
                                                 (search_.images.size() == 1 ? " image" : " images") +
                                                 ", by chance " + chance_words(one)));
      if (hit.has_slot()) guesses_.push_back(name + ": that " + unseen_words(one));
    }
    if (!hit.has_slot()) {
      guesses_.push_back(name +
                         ": where the bytes stand that make up the value is not known, so correction cannot "
                         "set it; the last word of " +
                         words(hit.coverage) + " is the usual place");
    }
    guesses_.push_back(name + ": that " + one.algorithm().name + " over " + words(hit.coverage) +
                       " is a checksum and no chance (" + chance_words(one) + ")");
    if (one.least_end < hit.coverage.end)
      guesses_.push_back(name + ": where its coverage ends: the unused space " +
                         words({one.least_end, hit.coverage.end}) +
                         " changes nothing in it, so it may end anywhere there; leave that space unused");
    if (one.solved) {
      if (one.may_begin.size() != 0)
        guesses_.push_back(name + ": where its coverage begins: the images are alike in " +
                           words(one.may_begin) + ", so it may begin anywhere there");
      if (!one.start_is_known)
        guesses_.push_back(
            name +
            ": init and xorout, which images of one layout cannot tell apart: with init 0 this "
            "xorout fits, over a range of another length it would not");
    }
    for (const Hit& other : one.also)
      guesses_.push_back(name + ": that it does not cover " + words(other.coverage) + " by " +
                         search_algorithms()[other.algorithm].algorithm.name + ", which fits as well");
    checksums_.push_back(std::move(value));
  }

  // Why correction does not write a slot yet.
  std::string unseen_words(const Candidate& one) const {
    return words(one.hit.slot_range()) + " holds its value: " +
           (one.slot_varies
                ? "it may be the lower half of a Fletcher-32 or of a sum kept in 32 bits, whose rest "
                  "would stay wrong"
                : "it was not seen to change along with what it covers") +
           ", so correction never writes it until somebody adds \"confirmed\"";
  }

  std::string source_words(const Hit& hit) const {
    if (search_algorithms()[hit.algorithm].by_difference && !hit.from_table)
      return "by differences between the images over ranges of the grid";
    if (!hit.from_table) return "by computation over ranges of the grid";
    const TableFound& table = draft_.search.tables[hit.table];
    return "by the descriptor table at " + address_text(draft_.origin + table.at) + ", records of " +
           std::to_string(table.stride) + " bytes";
  }

  std::vector<JsonValue> identity() const {
    std::vector<JsonValue> list;
    for (std::size_t i = 0; i < draft_.vins.size() && i < kVinsListed; ++i) {
      JsonValue value = json_object({{"name", json("vin-" + std::to_string(i))}, {"kind", json("vin")}});
      for (JsonMember& place : range_json({draft_.vins[i].at, draft_.vins[i].at + 17}, "at").members)
        value.members.push_back(std::move(place));
      value.members.emplace_back("encoding", json("ascii"));
      value.members.emplace_back("binds", json(true));
      list.push_back(std::move(value));
    }
    return list;
  }

  std::vector<std::string> all_guesses() const {
    std::vector<std::string> list = {
        "everything: this map was drafted from bytes, not from knowledge of the controller",
        "that nothing may be edited: every byte is locked until somebody says which are calibration",
        "that there are no further checksums: those of 8 bits, over ranges off the grid, or in several "
        "pieces, are not found"};
    if (!draft_.search.is_whole())
      list.push_back("the search was interrupted after " + std::to_string(draft_.search.algorithms_tried) +
                     " of " + std::to_string(draft_.search.algorithms) + " algorithms");
    list.push_back(draft_.origin == 0 ? "that the memory begins at address 0"
                                      : "that the memory begins at " + address_text(draft_.origin));
    if (draft_.mirror)
      list.push_back("that the image is read with its right size: it repeats as a whole every " +
                     bytes_text(*draft_.mirror));
    for (const Repetition& one : draft_.repetitions)
      list.push_back("that " + words(one.again) + " is no copy of " + words(one.first) + ", though it " +
                     (one.complemented ? "is its complement" : "repeats it"));
    for (const VinFound& vin : draft_.vins)
      list.push_back("that the text at " + address_text(draft_.origin + vin.at) + " is the VIN");
    if (search_.images.size() == 1)
      list.push_back("which bytes belong to the vehicle: one image does not tell; draft again with several");
    std::size_t listed = 0;
    for (const Range& range : draft_.varying.ranges()) {
      if (is_slot(range)) continue;
      if (++listed > kRunsListed) break;
      list.push_back("what varies at " + words(range) +
                     ": identity, learned values, or another software's contents");
    }
    list.insert(list.end(), guesses_.begin(), guesses_.end());
    return list;
  }

  bool is_slot(Range range) const {
    return std::ranges::any_of(draft_.search.found,
                               [&](const Candidate& one) { return one.hit.slot_range().contains(range); });
  }

  const ChecksumSearch& search_;
  const DraftNames& names_;
  const MapDraft& draft_;
  std::uint64_t size_;
  std::vector<JsonValue> checksums_;
  std::vector<std::string> guesses_;
};

Status judge_images(const ChecksumSearch& search) {
  for (const ByteView image : search.images) {
    if (image.size() < kDraftImageLeast || image.size() > kDraftImageMost)
      return fail({Reason::kImageSize, "", "", bytes_text(image.size()),
                   bytes_text(kDraftImageLeast) + " to " + bytes_text(kDraftImageMost),
                   "give a raw image of one memory"});
    if (image.size() != search.images.front().size())
      return fail({Reason::kImageSize, "", "", bytes_text(image.size()),
                   bytes_text(search.images.front().size()) + ", as the first image has",
                   "draft images of one family together, others apart"});
  }
  return {};
}

// Absolute addresses in tables say where the memory begins.
std::uint64_t origin_of(const SearchOutcome& outcome, const DraftNames& names, std::uint64_t size) {
  if (names.origin) return *names.origin;
  for (const Candidate& one : outcome.found) {
    if (!one.hit.from_table) continue;
    const TableFound& table = outcome.tables[one.hit.table];
    if (table.bank == 0 && table.base + size <= kAddressLimit) return table.base;
  }
  return 0;
}

Image image_of(const RegionMap& map, ByteView bytes) {
  Memory memory =
      make_memory(map.memories.front().name, map.memories.front().extent, map.memories.front().fill);
  memory.bytes.assign(bytes.begin(), bytes.end());
  memory.known.add(memory.extent);
  Image image;
  image.memories.push_back(std::move(memory));
  return image;
}

// The names of checksums that the finished map does not bear out, or that keep it from being planned.
Result<std::set<std::string>> borne_out(const RegionMap& map, const ChecksumSearch& search) {
  std::set<std::string> wrong;
  for (const ByteView bytes : search.images) {
    const Image image = image_of(map, bytes);
    CALSEAL_ASSIGN(const Plan plan, make_plan(map, image));
    for (const CheckOutcome& check : verify_checks(plan, image)) {
      if (check.state != CheckState::kHolds) wrong.insert(check.name);
    }
  }
  return wrong;
}

}  // namespace

Result<MapDraft> draft_region_map(ChecksumSearch search, const DraftNames& names) {
  if (Status judged = judge_images(search); !judged) return fail(std::move(judged).error());
  const ByteView first = search.images.front();
  if (names.origin) search.origins.push_back(*names.origin);
  if (names.origin.value_or(0) + first.size() > kAddressLimit)
    return fail({Reason::kUsage, "", "--origin", address_text(*names.origin),
                 "an address that leaves room for " + bytes_text(first.size()),
                 "give the address of the image's first byte"});
  MapDraft draft;
  // Names and origin are judged by the map's own reader, before anybody waits for the search.
  draft.origin = names.origin.value_or(0);
  if (auto empty = parse_region_map(Writer(search, names, draft).text(), ""); !empty)
    return fail({Reason::kUsage, "", "--name, --controller, --memory", empty.error().found,
                 empty.error().expected, "give another"});
  draft.search = search_checksums(search);
  draft.origin = origin_of(draft.search, names, first.size());
  draft.parts = find_parts(first);
  draft.repetitions = find_repetitions(first, kRepetitionsListed);
  draft.mirror = mirror_period(first);
  draft.varying = find_varying(search.images);
  draft.vins = find_vins(first);
  std::erase_if(draft.vins, [&](const VinFound& vin) {
    return std::ranges::any_of(draft.search.found, [&](const Candidate& one) {
      return one.hit.slot_range().overlaps({vin.at, vin.at + 17});
    });
  });
  // What the map's own reader and planner do not bear out is not drafted.
  while (true) {
    draft.text = Writer(search, names, draft).text();
    CALSEAL_ASSIGN(draft.map, parse_region_map(draft.text, names.map + ".json"));
    auto wrong = borne_out(draft.map, search);
    if (wrong && wrong->empty()) return draft;
    std::vector<Candidate>& found = draft.search.found;
    if (found.empty()) return fail(std::move(wrong).error());
    auto weakest = std::ranges::min_element(found, {}, &Candidate::worth);
    if (wrong) {
      const auto index = [](const std::string& name) {
        return static_cast<std::size_t>(std::stoul(name.substr(6)));
      };
      weakest = found.begin() + static_cast<std::ptrdiff_t>(index(*wrong->begin()));
    }
    draft.search.uncertain.insert(draft.search.uncertain.begin(), *weakest);
    found.erase(weakest);
  }
}

}  // namespace calseal
