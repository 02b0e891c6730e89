#include "calseal/report/study/draft_report.h"

#include <algorithm>
#include <cmath>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/places.h"

namespace calseal {
namespace {

constexpr std::size_t kRowsShown = 24;

std::string chance_words(const Candidate& one) {
  if (one.worth < 1) return "as likely as not";
  if (one.worth > 30) return "under 1 in 1,000,000,000";
  return "1 in " + grouped(static_cast<std::uint64_t>(std::exp2(one.worth)));
}

std::string words(const MapDraft& draft, Range range) {
  return range_text({draft.origin + range.begin, draft.origin + range.end});
}

std::string slot_words(const MapDraft& draft, const Hit& hit) {
  if (!hit.has_slot()) return "gives " + hex_number(hit.equals);
  std::string text = address_text(draft.origin + hit.slot);
  if (hit.size() > 1) text += hit.storage.order == ByteOrder::kBig ? " big" : " little";
  if (hit.storage.transform == SlotTransform::kComplement) text += ", complemented";
  if (hit.storage.transform == SlotTransform::kNegate) text += ", negated";
  if (hit.layout.pair != 0) text += ", with its complement";
  if (hit.layout.own == Layout::Own::kAsZeros) text += ", itself as 00";
  if (hit.layout.own == Layout::Own::kAsOnes) text += ", itself as ff";
  return text;
}

std::string found_by(const Hit& hit) {
  if (search_algorithms()[hit.algorithm].by_difference) return "difference";
  return hit.from_table ? "table" : "computation";
}

void add_rows(Columns& columns, const MapDraft& draft, const std::vector<Candidate>& list) {
  columns.add({{"slot", Mark::kDim},
               {"algorithm", Mark::kDim},
               {"covers", Mark::kDim},
               {"found by", Mark::kDim},
               {"by chance", Mark::kDim}});
  for (std::size_t i = 0; i < list.size() && i < kRowsShown; ++i) {
    const Hit& hit = list[i].hit;
    columns.add({{slot_words(draft, hit)},
                 {list[i].algorithm().name},
                 {words(draft, hit.coverage)},
                 {found_by(hit)},
                 {chance_words(list[i])}});
  }
}

JsonValue range_json(const MapDraft& draft, Range range) {
  return place_json(draft.map, {0, {draft.origin + range.begin, draft.origin + range.end}});
}

// Parts per million, so that a small chance is not 0 but says that it is small.
std::uint64_t worth_of(const Candidate& one) {
  return static_cast<std::uint64_t>(std::max(0.0, std::floor(one.worth)));
}

JsonValue candidate_json(const MapDraft& draft, const Candidate& one) {
  const Hit& hit = one.hit;
  const std::string_view transform = hit.storage.transform == SlotTransform::kPlain        ? "plain"
                                     : hit.storage.transform == SlotTransform::kComplement ? "complement"
                                                                                           : "negate";
  return json_object(
      {{"kind", json(hit.has_slot() ? "slot" : "rule")},
       {"algorithm", json(one.algorithm().name)},
       {"coverage", range_json(draft, hit.coverage)},
       {"slot", hit.has_slot() ? range_json(draft, {hit.slot, hit.slot + hit.size()}) : JsonValue{}},
       {"order", json(hit.storage.order == ByteOrder::kBig ? "big" : "little")},
       {"transform", json(transform)},
       {"own_slot_as", json(hit.layout.own == Layout::Own::kOutside   ? ""
                            : hit.layout.own == Layout::Own::kAsZeros ? "00"
                                                                      : "ff")},
       {"complemented_twin", json(hit.layout.pair != 0)},
       {"equals", json(hit.has_slot() ? "" : hex_number(hit.equals))},
       {"found_by", json(found_by(hit))},
       {"chance_bits", json(worth_of(one))},
       {"images", json(one.images)},
       {"written", json(one.is_seen())},
       {"also_fits", json(one.also.size())},
       {"further_slots",
        json_array(one.slots, [&](const Hit& more) { return range_json(draft, more.slot_range()); })}});
}

std::string parts_words(const MapDraft& draft, PartLook look) {
  std::uint64_t bytes = 0;
  for (const ImagePart& part : draft.parts) bytes += part.look == look ? part.range.size() : 0;
  return std::string(part_look_name(look)) + " " + bytes_text(bytes);
}

std::string unconfirmed_text(const SearchOutcome& search, const Page& page) {
  const auto fixed = static_cast<std::size_t>(std::ranges::count_if(
      search.found, [](const Candidate& one) { return one.hit.has_slot() && !one.is_seen(); }));
  if (fixed == 0) return {};
  return labelled(
      page, "unconfirmed",
      counted(fixed, "slot", "slots") +
          " not seen to change along with what is covered, or half of a value: correction writes there "
          "only once the map says \"confirmed\"",
      Mark::kCaution);
}

}  // namespace

std::string draft_text(const MapDraft& draft, const Page& page) {
  const SearchOutcome& search = draft.search;
  std::string text;
  if (!search.is_whole())
    text += labelled(page, "INTERRUPTED",
                     std::to_string(search.algorithms_tried) + " of " + std::to_string(search.algorithms) +
                         " algorithms were tried; what follows is what they gave",
                     Mark::kCaution);
  text += labelled(page, "found",
                   counted(search.found.size(), "checksum", "checksums") + " among " +
                       grouped(search.agreements) + " agreements, nearly all of them chance",
                   search.found.empty() ? Mark::kCaution : Mark::kGood);
  if (!search.found.empty()) {
    Columns columns;
    add_rows(columns, draft, search.found);
    text += "\n" + columns.text(page, 2) + "\n";
    if (search.found.size() > kRowsShown)
      text +=
          labelled(page, "and", counted(search.found.size() - kRowsShown, "more", "more") + ", in the map");
  }
  text += unconfirmed_text(search, page);
  for (const TableFound& table : search.tables) {
    text += labelled(page, "table",
                     address_text(draft.origin + table.at) + ": " +
                         counted(table.ranges.size(), "record", "records") + " of " +
                         std::to_string(table.stride) + " bytes, addresses from " + address_text(table.base));
  }
  if (!search.uncertain.empty()) {
    text += labelled(page, "uncertain", "not in the map; a second image of the family would decide");
    Columns columns;
    add_rows(columns, draft, search.uncertain);
    text += "\n" + columns.text(page, 2) + "\n";
  }
  text += labelled(page, "looks like",
                   parts_words(draft, PartLook::kCode) + ", " + parts_words(draft, PartLook::kData) + ", " +
                       parts_words(draft, PartLook::kPacked) + ", " + parts_words(draft, PartLook::kUnused));
  if (draft.mirror)
    text += labelled(page, "mirrored",
                     "the image repeats as a whole every " + bytes_text(*draft.mirror) +
                         ": was it read with the right size?",
                     Mark::kCaution);
  for (std::size_t i = 0; i < draft.repetitions.size() && i < 4; ++i) {
    const Repetition& one = draft.repetitions[i];
    text += labelled(page, "repeated",
                     words(draft, one.again) + (one.complemented ? " is the complement of " : " repeats ") +
                         words(draft, one.first));
  }
  if (!draft.varying.empty())
    text +=
        labelled(page, "varies",
                 bytes_text(draft.varying.size()) + " in " +
                     counted(draft.varying.ranges().size(), "run", "runs") + " differ between the images");
  for (const VinFound& vin : draft.vins)
    text +=
        labelled(page, "VIN", "a text with the right check digit at " + address_text(draft.origin + vin.at));
  return text;
}

JsonValue draft_json(const MapDraft& draft) {
  const auto candidates = [&](const std::vector<Candidate>& list) {
    return json_array(list, [&](const Candidate& one) { return candidate_json(draft, one); });
  };
  return json_object(
      {{"region_map", region_map_json(draft.map)},
       {"whole", json(draft.search.is_whole())},
       {"algorithms_tried", json(draft.search.algorithms_tried)},
       {"algorithms", json(draft.search.algorithms)},
       {"agreements", json(draft.search.agreements)},
       {"found", candidates(draft.search.found)},
       {"uncertain", candidates(draft.search.uncertain)},
       {"tables", json_array(draft.search.tables,
                             [&](const TableFound& table) {
                               return json_object({{"place", range_json(draft, table.place())},
                                                   {"records", json(table.ranges.size())},
                                                   {"record_size", json(table.stride)},
                                                   {"base", json(address_text(table.base))}});
                             })},
       {"parts", json_array(draft.parts,
                            [&](const ImagePart& part) {
                              return json_object(
                                  {{"place", range_json(draft, part.range)},
                                   {"look", json(part_look_name(part.look))},
                                   {"entropy", json(static_cast<std::uint64_t>(part.entropy * 100 + 0.5))}});
                            })},
       {"repetitions", json_array(draft.repetitions,
                                  [&](const Repetition& one) {
                                    return json_object({{"first", range_json(draft, one.first)},
                                                        {"again", range_json(draft, one.again)},
                                                        {"complemented", json(one.complemented)}});
                                  })},
       {"mirror_period", json(draft.mirror.value_or(0))},
       {"varying",
        json_array(draft.varying.ranges(), [&](const Range& range) { return range_json(draft, range); })},
       {"vins", json_array(draft.vins, [&](const VinFound& vin) {
          return range_json(draft, {vin.at, vin.at + 17});
        })}});
}

}  // namespace calseal
