#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/identity.h"
#include "calseal/map/wrapping.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/plan_report.h"
#include "calseal/report/changes/region_map_report.h"
#include "calseal/report/changes/strip.h"
#include "calseal/report/layout/signs.h"
#include "calseal/report/layout/strip.h"

namespace calseal {
namespace {

std::string heading(const Page& page, std::string_view text) {
  return "\n" + page.painted(Mark::kDim, text) + "\n";
}

std::string memories_text(const RegionMapView& view, const Page& page) {
  const Plan declared = view.plan == nullptr ? declared_plan(*view.map) : Plan();
  const Plan& plan = view.plan == nullptr ? declared : *view.plan;
  std::string text = heading(page, "memories");
  for (std::size_t m = 0; m < view.map->memories.size(); ++m) text += memory_strip(plan, m, view.image, page);
  return text + strip_legend(page);
}

std::string regions_text(const RegionMap& map, const Page& page) {
  Columns columns;
  for (const Region& region : map.regions) {
    columns.add(
        {{std::string(policy_sign(page, region.policy)) + " " + std::string(policy_name(region.policy))},
         {region.name},
         {place_text(map, region.place)},
         {counted(region.place.range.size(), "byte", "bytes"), Mark::kPlain, true},
         {printable(*region.note), Mark::kDim}});
  }
  return heading(page, "regions (what none covers is locked)") + columns.text(page, 2);
}

std::string patches_text(const RegionMap& map, const Page& page) {
  if (map.patches.empty()) return {};
  Columns columns;
  for (const PermittedPatch& patch : map.patches) {
    columns.add({{patch.name},
                 {place_text(map, patch.place)},
                 {hex_excerpt(patch.before, 8) + " -> " + hex_excerpt(patch.after, 8)},
                 {printable(patch.note), Mark::kDim}});
  }
  return heading(page, "permitted patches") + columns.text(page, 2);
}

std::string copies_text(const RegionMap& map, const Page& page) {
  if (map.copies.empty()) return {};
  Columns columns;
  for (const Copy& copy : map.copies) {
    std::string how = copy.transform == CopyTransform::kPlain ? "repeats"
                      : copy.transform == CopyTransform::kComplement
                          ? "complements"
                          : "adds " + std::to_string(copy.offset) + " to";
    std::string bank;
    if (copy.active_bank) {
      bank = "while " + place_text(map, copy.active_bank->place) + " is " +
             hex_excerpt(copy.active_bank->equals, 8);
    }
    columns.add({{copy.name},
                 {place_text(map, copy.to)},
                 {how + " " + place_text(map, copy.of)},
                 {bank, Mark::kDim}});
  }
  return heading(page, "copies") + columns.text(page, 2);
}

std::string slot_words(const RegionMap& map, const Checksum& checksum) {
  std::string text;
  if (checksum.rule) {
    text = "must be " + hex_number(checksum.rule->equals, (checksum.bits + 3) / 4);
    return text + (checksum.rule->balance ? ", balance in " + place_text(map, *checksum.rule->balance)
                                          : ", no balance: cannot be corrected");
  }
  for (const Slot& slot : checksum.slots)
    text += (text.empty() ? "kept in " : " and ") + place_text(map, slot.place);
  if (checksum.is_unconfirmed()) text += ", unconfirmed: never written";
  return text;
}

std::string checksums_text(const RegionMap& map, const Page& page) {
  if (map.checksums.empty()) return {};
  constexpr std::size_t kMostPieces = 6;
  Columns columns;
  for (const Checksum& checksum : map.checksums) {
    columns.add({{checksum.name}, {printable(checksum.algorithm.name) + ", " + slot_words(map, checksum)}});
    const std::vector<std::string> words = coverage_words(map, checksum);
    for (std::size_t i = 0; i < words.size() && i < kMostPieces; ++i) {
      columns.add({{""}, {(i == 0 ? "over " : "then ") + words[i], Mark::kDim}});
    }
    if (words.size() > kMostPieces) {
      columns.add(
          {{""}, {"then " + counted(words.size() - kMostPieces, "more piece", "more pieces"), Mark::kDim}});
    }
    for (const Substitute& substitute : checksum.substitutes) {
      columns.add({{""},
                   {place_text(map, substitute.place) + " counted as " + to_hex(ByteView(&substitute.as, 1)),
                    Mark::kDim}});
    }
    if (!checksum.note->empty()) columns.add({{""}, {printable(*checksum.note), Mark::kDim}});
    if (!checksum.drafted->empty())
      columns.add({{""}, {"drafted: " + printable(*checksum.drafted), Mark::kDim}});
    if (!checksum.confirmed->empty())
      columns.add({{""}, {"confirmed: " + printable(*checksum.confirmed), Mark::kDim}});
  }
  return heading(page, "checksums") + columns.text(page, 2);
}

std::string order_text(const RegionMapView& view, const Page& page) {
  if (view.map->checksums.empty() && view.map->copies.empty()) return {};
  if (view.plan == nullptr)
    return heading(page, "order of correction") +
           "  needs an image, since tables in it say what is covered: --image FILE\n";
  return heading(page, "order of correction") + plan_text(*view.plan, page);
}

std::string identity_text(const RegionMapView& view, const Page& page) {
  if (view.map->identity.empty()) return {};
  Columns columns;
  std::vector<IdentityValue> values;
  if (view.image != nullptr) values = read_identity(*view.map, *view.image);
  for (std::size_t i = 0; i < view.map->identity.size(); ++i) {
    const IdentityField& field = view.map->identity[i];
    std::string value;
    if (!values.empty()) {
      value = !values[i].known ? "unknown" : values[i].blank ? "blank" : "\"" + values[i].text + "\"";
      if (values[i].known && !values[i].blank && !values[i].well_formed)
        value += ", not of the declared form";
      if (!values[i].caution.empty()) value += "; " + values[i].caution;
    } else if (!field.pattern.empty()) {
      value = "pattern " + printable(field.pattern);
    }
    columns.add({{field.binds ? std::string(kind_sign(page, SpanKind::kBinding)) + " binds" : ""},
                 {field.name},
                 {std::string(identity_kind_name(field.kind))},
                 {place_text(*view.map, field.place)},
                 {value}});
  }
  return heading(page, "identity") + columns.text(page, 2);
}

std::string signed_text(const RegionMap& map, const Page& page) {
  if (map.signed_parts.empty()) return {};
  Columns columns;
  for (const SignedPart& part : map.signed_parts) {
    for (std::size_t i = 0; i < part.places.size(); ++i)
      columns.add({{i == 0 ? part.name : ""}, {place_text(map, part.places[i])}});
  }
  return heading(page, "under the manufacturer's signature") + columns.text(page, 2);
}

// Neighbouring sectors of one size as one row.
std::string sectors_text(const RegionMap& map, const Page& page) {
  if (map.sectors.empty()) return {};
  Columns columns;
  for (std::size_t i = 0; i < map.sectors.size();) {
    std::size_t end = i + 1;
    while (end < map.sectors.size() && map.sectors[end].memory == map.sectors[i].memory &&
           map.sectors[end].range.begin == map.sectors[end - 1].range.end &&
           map.sectors[end].range.size() == map.sectors[i].range.size()) {
      ++end;
    }
    const Place whole{map.sectors[i].memory, {map.sectors[i].range.begin, map.sectors[end - 1].range.end}};
    columns.add({{place_text(map, whole)},
                 {counted(end - i, "sector", "sectors") + " of " +
                  counted(map.sectors[i].range.size(), "byte", "bytes")}});
    i = end;
  }
  return heading(page, "erase sectors") + columns.text(page, 2);
}

std::string forms_text(const RegionMap& map, const Page& page) {
  if (map.forms.empty()) return {};
  Columns columns;
  for (const FormDeclaration& form : map.forms) {
    if (!form.is_readable()) {
      columns.add({{form.name}, {"begins " + hex_excerpt(form.signature)}, {"cannot be read"}});
      continue;
    }
    std::string holds;
    for (const WrappedPart& part : wrapped_parts(form))
      holds += (holds.empty() ? "holds " : ", ") + place_text(map, part.place);
    for (const Place& place : form.omitted)
      holds += "; omits " + place_text(map, place) + " of " + hex_excerpt(Bytes{form.fill});
    if (form.file)
      holds += "; " + counted(form.file->checksums.size(), "checksum", "checksums") + " of its own";
    columns.add({{form.name}, {bytes_text(wrapping_size(form)), Mark::kPlain, true}, {holds}});
  }
  return heading(page, "forms") + columns.text(page, 2);
}

std::string evidence_text(const RegionMap& map, const Page& page) {
  std::string text = heading(page, "evidence");
  text += labelled(page, "author", printable(map.evidence.author));
  text += labelled(page, "grade", map.grade());
  for (const Sha256& digest : map.evidence.verified_on)
    text += labelled(page, "verified", digest_text(digest));
  for (const std::string& guess : map.evidence.guesses)
    text += labelled(page, "guess", printable(guess, 400));
  return text;
}

std::string recognition_text(const RegionMap& map, const Page& page) {
  const Recognition& rule = map.recognition;
  if (rule.all.empty() && rule.software_numbers.empty()) return {};
  std::string text = heading(page, "recognised by");
  for (const Recognition::Match& match : rule.all) {
    const bool whole = std::ranges::all_of(match.mask, [](std::uint8_t b) { return b == 0xff; });
    text += "  " + place_text(map, match.place) + " is " + hex_excerpt(match.bytes) +
            (whole ? "" : " under mask " + hex_excerpt(match.mask)) + "\n";
  }
  for (const std::string& number : rule.software_numbers)
    text += "  software number " + printable(number) + "\n";
  return text;
}

}  // namespace

std::string region_map_text(const RegionMapView& view, const Page& page) {
  const RegionMap& map = *view.map;
  std::string text = region_map_words(map) + ", controller " + printable(map.controller) + "\n";
  if (!map.title.empty()) text += labelled(page, "title", printable(map.title));
  if (!map.note.empty()) text += labelled(page, "note", printable(map.note, 1024));
  text += labelled(page, "digest", digest_text(map.digest));
  if (map.succeeds) text += labelled(page, "succeeds", digest_text(*map.succeeds));
  if (map.link) {
    text += labelled(page, "link",
                     "reads " + grouped(map.link->read) + " bytes/s, writes " + grouped(map.link->write));
  }
  return text + recognition_text(map, page) + memories_text(view, page) + regions_text(map, page) +
         patches_text(map, page) + copies_text(map, page) + checksums_text(map, page) +
         order_text(view, page) + identity_text(view, page) + signed_text(map, page) +
         sectors_text(map, page) + forms_text(map, page) + evidence_text(map, page);
}

}  // namespace calseal
