#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/query/query_report.h"

namespace calseal {
namespace {

constexpr std::size_t kRevisionsShown = 20;
constexpr std::size_t kRangesShown = 60;

std::string verdict_words(const Identification& result) {
  switch (result.verdict) {
    case Likeness::kOurs:
      return result.known < result.pinned ? "OURS, as far as the file goes: " + grouped(result.known) +
                                                " of " + bytes_text(result.pinned)
                                          : "OURS: every pinned byte is as it was sealed";
    case Likeness::kChanged:
      return "OURS, CHANGED SINCE: the nearest revision, with other bytes in the places below";
    case Likeness::kNotOurs:
      return "NOT OURS: the nearest revision differs where it may not, or shares nothing of our work";
    default:
      return "CANNOT SAY: no bundle of this archive tells anything about this file";
  }
}

Mark verdict_mark(Likeness likeness) {
  if (likeness == Likeness::kOurs) return Mark::kGood;
  return likeness == Likeness::kCannotSay ? Mark::kCaution : Mark::kBad;
}

std::string likeness_words(Likeness likeness) {
  switch (likeness) {
    case Likeness::kOurs:
      return "ours";
    case Likeness::kChanged:
      return "ours, changed since";
    case Likeness::kNotOurs:
      return "not ours";
    case Likeness::kAside:
      return "aside: belongs to the vehicle";
    case Likeness::kCannotSay:
      break;
  }
  return "cannot say";
}

std::string revision_words(const IdentifiedRevision& one) {
  const FoundRevision& at = one.revision;
  std::string words = "job " + at.job + ", " + at.controller + ", base " + std::to_string(at.base) +
                      ", revision " + std::to_string(at.revision);
  if (one.as_received) words += "; the read as received, byte for byte";
  if (one.vehicle == SameVehicle::kSame) words += "; from this job's vehicle";
  if (one.vehicle == SameVehicle::kOther) words += "; but from ANOTHER vehicle than this job's";
  words += at.seal == SealState::kHolds        ? "; seal holds"
           : at.seal == SealState::kIncomplete ? "; signatures missing"
           : at.seal == SealState::kRefused    ? "; seal REFUSED: " + at.reason
                                               : "; seal not looked at";
  return words + "; " + printable(at.file);
}

}  // namespace

std::string identification_text(const Identification& result, const Page& page) {
  std::string text = page.painted(verdict_mark(result.verdict), verdict_words(result)) + "\n\n";
  if (!result.form.empty()) {
    text += labelled(page, "file",
                     result.form + (result.part_of.empty() ? ""
                                                           : ", a part of " + result.part_of + " from " +
                                                                 address_text(result.at) + " on"));
    text += labelled(page, "region map", result.map_name);
  }
  for (std::size_t i = 0; i < result.revisions.size() && i < kRevisionsShown; ++i)
    text += labelled(page, result.verdict == Likeness::kOurs ? "is" : "nearest",
                     revision_words(result.revisions[i]));
  if (result.revisions.size() > kRevisionsShown)
    text += labelled(page, "is", "or one of " + grouped(result.revisions.size() - kRevisionsShown) + " more");
  if (result.verdict != Likeness::kOurs && result.as_near > 1)
    text += labelled(page, "as near", counted(result.as_near - 1, "other bundle", "other bundles"));
  if (result.verdict == Likeness::kOurs && result.revisions.size() > 1) {
    text += labelled(
        page, "note",
        "these hold the same pinned bytes; only a binding field or what was written down tells them apart");
  }
  Columns columns;
  std::size_t left = 0;
  for (const LikenessRange& range : result.ranges) {
    if (range.likeness == Likeness::kOurs || range.likeness == Likeness::kAside) continue;
    if (++left > kRangesShown) continue;
    columns.add({{range.memory},
                 {range_text(range.range)},
                 {grouped(range.range.size()), Mark::kPlain, true},
                 {likeness_words(range.likeness), verdict_mark(range.likeness)},
                 {printable(range.region)}});
  }
  if (!columns.empty()) text += "\n" + columns.text(page, 2);
  if (left > kRangesShown) text += "  and " + grouped(left - kRangesShown) + " more ranges\n";
  return text;
}

JsonValue identification_json(const Identification& result) {
  const auto revision = [](const IdentifiedRevision& one) {
    JsonValue value = found_revision_json(one.revision);
    value.members.emplace_back("vehicle", json(same_vehicle_name(one.vehicle)));
    value.members.emplace_back("as_received", json(one.as_received));
    return value;
  };
  const auto range = [](const LikenessRange& one) {
    return json_object({{"memory", json(one.memory)},
                        {"start", json(address_text(one.range.begin))},
                        {"size", json(one.range.size())},
                        {"region", json(one.region)},
                        {"likeness", json(likeness_name(one.likeness))}});
  };
  return json_object({{"calseal", json("identify/1")},
                      {"verdict", json(likeness_name(result.verdict))},
                      {"form", json(result.form)},
                      {"region_map", json(result.map_name)},
                      {"part_of", json(result.part_of)},
                      {"at", json(result.part_of.empty() ? std::string() : address_text(result.at))},
                      {"known_bytes", json(result.known)},
                      {"pinned_bytes", json(result.pinned)},
                      {"revisions", json_array(result.revisions, revision)},
                      {"as_near", json(result.as_near)},
                      {"ranges", json_array(result.ranges, range)}});
}

}  // namespace calseal
