#include "calseal/report/option/option_report.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/option/resolve.h"
#include "calseal/report/changes/hex_excerpt_rows.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/strip.h"

namespace calseal {
namespace {

constexpr std::size_t kShown = 40;      // lines of a list for people
constexpr std::size_t kListed = 65536;  // elements of a list in JSON

std::string joined(const std::vector<std::string>& words, std::string_view between = ", ") {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : std::string(between)) + printable(word);
  return text;
}

std::string conditions_text(const OptionConditions& conditions) {
  std::vector<std::string> parts;
  if (!conditions.options.empty()) parts.push_back("options " + joined(conditions.options));
  if (!conditions.fuel.empty()) parts.push_back("fuel " + joined(conditions.fuel));
  if (!conditions.hardware.empty()) parts.push_back("hardware " + joined(conditions.hardware));
  return joined(parts, "; ");
}

JsonValue conditions_json(const OptionConditions& conditions) {
  return json_object({{"options", json_strings(conditions.options)},
                      {"fuel", json_strings(conditions.fuel)},
                      {"hardware", json_strings(conditions.hardware)}});
}

std::string more_line(std::size_t count, std::size_t shown) {
  return count <= shown ? "" : "  and " + grouped(count - shown) + " more (--json lists them)\n";
}

std::string edit_where(const OptionEdit& edit) {
  return edit.item.empty() ? edit.memory + " " + address_text(edit.at)
                           : printable(edit.item, 80) + " +" + std::to_string(edit.at);
}

Mark mark_of(Origin origin) {
  return origin == Origin::kUnaccounted || origin == Origin::kVehicle ? Mark::kBad : Mark::kPlain;
}

// One line for all entries of one origin, region, item and set of options that follow each other.
struct EntryLine {
  const AccountEntry* first = nullptr;
  std::uint64_t bytes = 0;
  std::size_t runs = 0;
  std::vector<const AccountEntry*> entries;
};

std::vector<EntryLine> lines_of(const Account& account) {
  std::vector<EntryLine> lines;
  for (const AccountEntry& entry : account.entries) {
    const bool joins = !lines.empty() && lines.back().first->place.memory == entry.place.memory &&
                       lines.back().first->origin == entry.origin &&
                       lines.back().first->options == entry.options &&
                       lines.back().first->region == entry.region && lines.back().first->item == entry.item;
    if (!joins) lines.push_back({&entry, 0, 0, {}});
    lines.back().bytes += entry.place.range.size();
    ++lines.back().runs;
    lines.back().entries.push_back(&entry);
  }
  return lines;
}

}  // namespace

std::string option_text(const OptionFile& file, const Page& page) {
  const Option& option = file.option;
  std::uint64_t bytes = 0;
  for (const OptionEdit& edit : option.edits) {
    for (std::size_t i = 0; i < edit.after.size(); ++i) bytes += edit.before[i] != edit.after[i] ? 1 : 0;
  }
  std::string text = labelled(page, "option", option.name + ": " + printable(option.title));
  if (!option.purpose.empty()) text += labelled(page, "purpose", printable(option.purpose, 4096));
  text += labelled(page, "fits",
                   option.controller + ", region map " + option.region_map +
                       (option.map_digest ? " " + digest_text(*option.map_digest) : "") +
                       (option.software_numbers.empty() ? ", any software number"
                                                        : ", software " + joined(option.software_numbers)));
  if (const std::string needs = conditions_text(option.requires_also); !needs.empty())
    text += labelled(page, "requires", needs);
  if (const std::string bars = conditions_text(option.excludes); !bars.empty())
    text += labelled(page, "excludes", bars);
  text += labelled(
      page, "edits",
      counted(option.edits.size(), "edit", "edits") + ", " + counted(bytes, "byte changes", "bytes change"));
  for (const std::string& caution : option.cautions)
    text += labelled(page, "caution", printable(caution), Mark::kCaution);
  if (!option.note.empty()) text += labelled(page, "note", printable(option.note, 4096));
  text += labelled(page, "digest", digest_text(file.digest)) + "\n";
  Columns columns;
  for (std::size_t i = 0; i < option.edits.size() && i < kShown; ++i) {
    const OptionEdit& edit = option.edits[i];
    columns.add({{edit_where(edit)},
                 {counted(edit.after.size(), "byte", "bytes"), Mark::kPlain, true},
                 {hex_excerpt(edit.before, 4) + " -> " + hex_excerpt(edit.after, 4)}});
  }
  return text + columns.text(page, 2) + more_line(option.edits.size(), kShown);
}

Result<OptionItems> option_items(const RegionMap& map, const OptionFile& option, const Image* base,
                                 const Page& page, const ShownItems& shown) {
  CALSEAL_ASSIGN(const std::vector<PlacedEdit> edits, place_edits(map, option));
  const EditSides sides = sides_of(map, edits, base);
  const Plan plan = declared_plan(map);
  const ChangesByItem changes =
      changes_by_item(plan, sides.before, sides.after, compare_images(plan, sides.before, sides.after));
  const ItemsCompared compared{map, sides.before, sides.after, changes};
  OptionItems items{item_report_text(compared, plan, {}, page, shown), item_report_json(compared, plan)};
  if (!sides.fits_base) {
    items.text += labelled(page, "caution",
                           "this base has other bytes than the option expects: see calseal option check",
                           Mark::kCaution);
  }
  return items;
}

JsonValue option_json(const OptionFile& file) {
  const Option& option = file.option;
  return json_object({{"name", json(option.name)},
                      {"title", json(option.title)},
                      {"purpose", json(option.purpose)},
                      {"controller", json(option.controller)},
                      {"region_map", json(option.region_map)},
                      {"map_digest", json(option.map_digest ? digest_text(*option.map_digest) : "")},
                      {"software_numbers", json_strings(option.software_numbers)},
                      {"requires", conditions_json(option.requires_also)},
                      {"excludes", conditions_json(option.excludes)},
                      {"cautions", json_strings(option.cautions)},
                      {"note", json(option.note)},
                      {"digest", json(digest_text(file.digest))},
                      {"edits", json_array(option.edits, [](const OptionEdit& edit) {
                         JsonValue value =
                             edit.item.empty()
                                 ? json_object(
                                       {{"memory", json(edit.memory)}, {"at", json(address_text(edit.at))}})
                                 : json_object({{"item", json(edit.item)}, {"offset", json(edit.at)}});
                         value.members.emplace_back("before", json(to_hex(edit.before)));
                         value.members.emplace_back("after", json(to_hex(edit.after)));
                         return value;
                       })}});
}

std::string carried_text(const RegionMap& from, const RegionMap& to, const CarriedOption& carried,
                         const Page& page) {
  Columns columns;
  std::size_t shown = 0;
  std::size_t refused = 0;
  for (const CarriedEdit& edit : carried.edits) {
    const bool good = edit.outcome == CarryOutcome::kCarried || edit.outcome == CarryOutcome::kNamed;
    if (!good) ++refused;
    if (shown++ >= kShown && good) continue;
    columns.add({{(good ? "+ " : "! ") + std::string(carry_outcome_name(edit.outcome)),
                  good ? Mark::kGood : Mark::kBad},
                 {place_text(from, edit.from)},
                 {edit.to.range.empty() ? "no place" : place_text(to, edit.to)},
                 {share_of_image(edit.score * 10)},
                 {"next best " + share_of_image(edit.second * 10), Mark::kDim}});
  }
  return columns.text(page, 2) + "\n" +
         labelled(page, "carried",
                  refused == 0 ? "every edit (" + grouped(carried.edits.size()) + ")"
                               : "NOT: " + counted(refused, "edit has", "edits have") +
                                     " no sure place, so nothing is carried",
                  refused == 0 ? Mark::kGood : Mark::kBad);
}

JsonValue carried_json(const RegionMap& from, const RegionMap& to, const CarriedOption& carried) {
  return json_object({{"whole", json(carried.is_whole())},
                      {"edits", json_array(carried.edits, [&](const CarriedEdit& edit) {
                         return json_object(
                             {{"outcome", json(carry_outcome_name(edit.outcome))},
                              {"from", place_json(from, edit.from)},
                              {"to", edit.to.range.empty() ? JsonValue{} : place_json(to, edit.to)},
                              {"score", json(edit.score)},
                              {"second", json(edit.second)}});
                       })}});
}

std::string account_text(const RegionMap& map, const Account& account, const Image& before,
                         const Image& after, const Page& page) {
  std::string text = page.painted(Mark::kDim, "account") + "\n";
  Columns columns;
  const std::vector<EntryLine> lines = lines_of(account);
  std::size_t shown = 0;
  for (const EntryLine& line : lines) {
    if (shown++ == kShown) break;
    const AccountEntry& first = *line.first;
    columns.add(
        {{std::string(origin_name(first.origin)) + (first.options.empty() ? "" : " " + joined(first.options)),
          mark_of(first.origin)},
         {counted(line.bytes, "byte", "bytes"), Mark::kPlain, true},
         {place_text(map, first.place) +
          (line.runs > 1 ? " and " + counted(line.runs - 1, "more run", "more runs") : "")},
         {first.item.empty() ? first.region : first.region + ", " + first.item}});
  }
  text += columns.text(page, 2) + more_line(lines.size(), kShown) + "\n";
  for (const Account::Share& share : account.shares) {
    std::string words = share.option + ": " + counted(share.bytes, "byte", "bytes");
    if (share.missing == 0) {
      words += ", whole in the image after";
    } else if (share.taken_back) {
      words += ", taken back";
    } else {
      words += ", NOT whole: " + counted(share.missing, "byte is", "bytes are") + " not as it puts them";
    }
    text +=
        labelled(page, "option", words, share.missing == 0 || share.taken_back ? Mark::kPlain : Mark::kBad);
  }
  if (account.is_complete()) {
    return text + labelled(page, "accounted", "every changed byte belongs to an option or to a derived place",
                           Mark::kGood);
  }
  text += labelled(page, "UNACCOUNTED",
                   counted(account.bytes(Origin::kUnaccounted), "byte belongs", "bytes belong") +
                       " to no option and to no derived place",
                   Mark::kBad);
  shown = 0;
  std::vector<ExcerptRange> ranges;
  for (const EntryLine& line : lines) {
    if (line.first->origin != Origin::kUnaccounted) continue;
    for (const AccountEntry* entry : line.entries) {
      if (shown++ >= kShown) continue;
      ranges.push_back({entry->place, "    " + place_text(map, entry->place) + "  " +
                                          (entry->region.empty() ? "(no region)" : entry->region) +
                                          (entry->item.empty() ? "" : ", " + entry->item) + "\n"});
    }
  }
  text += hex_excerpt_rows(ranges, before, after);
  return text + more_line(shown, kShown);
}

JsonValue account_json(const RegionMap& map, const Account& account, const Image& before,
                       const Image& after) {
  const std::size_t listed = std::min(account.entries.size(), kListed);
  const std::vector<AccountEntry> entries(account.entries.begin(),
                                          account.entries.begin() + static_cast<std::ptrdiff_t>(listed));
  const auto excerpt = [](const Image& image, const Place& place) {
    const ByteView bytes = image.memories[place.memory].view(place.range);
    return json(to_hex(bytes.first(std::min<std::size_t>(bytes.size(), 64))));
  };
  return json_object(
      {{"complete", json(account.is_complete())},
       {"unaccounted_bytes", json(account.bytes(Origin::kUnaccounted))},
       {"options", json_array(account.shares,
                              [](const Account::Share& share) {
                                return json_object({{"name", json(share.option)},
                                                    {"bytes", json(share.bytes)},
                                                    {"missing", json(share.missing)},
                                                    {"taken_back", json(share.taken_back)}});
                              })},
       {"entries", json_array(entries,
                              [&](const AccountEntry& entry) {
                                JsonValue value = place_json(map, entry.place);
                                value.members.emplace_back("origin", json(origin_name(entry.origin)));
                                value.members.emplace_back("options", json_strings(entry.options));
                                value.members.emplace_back("region", json(entry.region));
                                value.members.emplace_back("item", json(entry.item));
                                value.members.emplace_back("before", excerpt(before, entry.place));
                                value.members.emplace_back("after", excerpt(after, entry.place));
                                return value;
                              })},
       {"entries_left_out", json(account.entries.size() - listed)}});
}

std::string problems_text(const std::vector<Error>& problems, const Page& page) {
  constexpr std::size_t kIndent = 6;
  std::string text;
  for (std::size_t i = 0; i < problems.size() && i < kShown; ++i) {
    const Error& problem = problems[i];
    text += "  " + page.painted(Mark::kBad, "! " + std::string(code(problem.reason))) + "  " + problem.place +
            "\n";
    for (const std::string& part :
         {"found " + problem.found + "; expected " + problem.expected, problem.next}) {
      for (const std::string& line : wrap_words(part, page.width - kIndent))
        text += std::string(kIndent, ' ') + line + "\n";
    }
  }
  return text + more_line(problems.size(), kShown);
}

}  // namespace calseal
