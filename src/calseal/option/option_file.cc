#include "calseal/option/option_file.h"

#include <algorithm>
#include <map>

#include "calseal/base/file.h"
#include "calseal/base/range_set.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::string_view kKind = "option/";
constexpr std::string_view kOptionFormat = "option/1";
constexpr std::size_t kEditBytesLimit = 65536;  // of one edit
constexpr std::size_t kProseLimit = 4096;       // bytes

// The kind decides before anything else: another format has other keys.
void read_kind(JsonObject& top) {
  const auto node = top.required("calseal");
  if (!node) return;
  const std::string kind = node->text();
  if (kind == kOptionFormat || !node->is_text()) return;
  node->refuse(kind.starts_with(kKind) ? Reason::kFormatUnknown : Reason::kTypeWrong,
               "\"" + printable(kind, 60) + "\"", "\"" + std::string(kOptionFormat) + "\"");
}

// Names, each once; all of them may be missing.
struct Names : List<Name> {
  void read(const JsonNode& node, std::vector<std::string>& names) const {
    for (const JsonNode& item : node.items(limit)) {
      kind.read(item, names.emplace_back());
      if (std::count(names.begin(), names.end(), names.back()) > 1)
        item.refuse(Reason::kJsonValue, "\"" + names.back() + "\" again", "each name once");
    }
  }
};
constexpr Names kNames{{kName, kOptionListLimit}};
constexpr List kLines{kLine, kOptionListLimit};
constexpr Text kProse{kProseLimit};
constexpr Hex kEditBytes{1, kEditBytesLimit};

void conditions_fields(Fields& field, OptionConditions& conditions) {
  field.may_lack("options", conditions.options, kNames);
  field.may_lack("fuel", conditions.fuel, kNames);
  field.may_lack("hardware", conditions.hardware, kNames);
}

void edit_fields(Fields& field, OptionEdit& edit) {
  field.either(
      "item", !edit.item.empty(),
      [&](Fields& of_item) {
        // The name of an item may be one of a repetition, like "curve[3]".
        of_item("item", edit.item, kLine);
        of_item.may_lack("offset", edit.at, Integer{0, kAddressLimit - 1});
      },
      [&](Fields& of_memory) {
        of_memory("memory", edit.memory, kName);
        of_memory("at", edit.at, kAddress);
      });
  field("before", edit.before, kEditBytes);
  field("after", edit.after, kEditBytes);
}

// Edits of equal lengths before and after, not too large together.
struct Edits : List<Record<OptionEdit>> {
  void read(const JsonNode& node, std::vector<OptionEdit>& edits) const {
    std::uint64_t total = 0;
    for (const JsonNode& item : node.items(limit)) {
      OptionEdit& edit = edits.emplace_back();
      kind.read(item, edit);
      if (node.document().ok() && edit.before.size() != edit.after.size()) {
        item.refuse(Reason::kOptionInvalid,
                    bytes_text(edit.before.size()) + " before, " + bytes_text(edit.after.size()) + " after",
                    "as many bytes after as before");
      }
      total += edit.after.size();
      if (total > kOptionByteLimit) {
        return item.refuse(Reason::kJsonValue, grouped(total) + " bytes of edits up to this one",
                           "at most " + grouped(kOptionByteLimit));
      }
    }
  }
};

// What an option says about itself; what it says about an image is judged where there is one.
void judge_alone(const JsonNode& top, const Option& option) {
  const bool changes =
      std::ranges::any_of(option.edits, [](const OptionEdit& edit) { return edit.before != edit.after; });
  if (!changes) {
    top.refuse(Reason::kOptionInvalid, "no edit that changes a byte", "at least one");
    return;
  }
  std::map<std::pair<std::string, std::string>, std::vector<Range>> places;
  for (const OptionEdit& edit : option.edits)
    places[{edit.memory, edit.item}].push_back({edit.at, edit.at + edit.after.size()});
  for (auto& [where, ranges] : places) {
    std::ranges::sort(ranges);
    for (std::size_t i = 1; i < ranges.size(); ++i) {
      if (!ranges[i].overlaps(ranges[i - 1])) continue;
      top.refuse(Reason::kOptionInvalid,
                 "two edits of " + printable(where.first + where.second) + " that share bytes at " +
                     hex_number(ranges[i].begin),
                 "each byte in one edit");
      return;
    }
  }
  for (const OptionConditions* conditions : {&option.requires_also, &option.excludes}) {
    if (std::ranges::find(conditions->options, option.name) == conditions->options.end()) continue;
    top.refuse(Reason::kOptionInvalid, "an option that names itself", "other options only");
  }
}

}  // namespace

void option_fields(Fields& field, Option& option) {
  field.kind_of_file(kOptionFormat);
  field("name", option.name, kName);
  field("title", option.title, kLine);
  field.may_lack("purpose", option.purpose, kProse);
  field.object("family", [&](Fields& family) {
    family("controller", option.controller, kName);
    family("region_map", option.region_map, kName);
    family.optional("digest", option.map_digest, kDigest);
  });
  field.may_lack("software_numbers", option.software_numbers, kLines);
  field.may_lack("requires", option.requires_also, Record{conditions_fields});
  field.may_lack("excludes", option.excludes, Record{conditions_fields});
  field.may_lack("cautions", option.cautions, kLines);
  field.may_lack("note", option.note, kProse);
  field("edits", option.edits, Edits{{Record{edit_fields}, kOptionEditLimit}});
}

Result<OptionFile> parse_option(Bytes text, const std::string& file) {
  if (text.empty())
    return fail({Reason::kFileEmpty, file, "", "0 bytes", "an option file", "get the file again"});
  if (text.size() > kOptionSizeLimit) {
    return fail({Reason::kFileTooLarge, file, "", grouped(text.size()) + " bytes",
                 "at most " + grouped(kOptionSizeLimit) + " bytes", "make sure that this is an option file"});
  }
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text_of(text), file));
  JsonDocument document(text_of(text), file);
  const JsonNode root(document, tree);
  JsonObject top(root);
  read_kind(top);
  if (!document.ok()) return fail(document.error());
  OptionFile out;
  out.option = read_record(root, option_fields);
  if (document.ok()) judge_alone(root, out.option);
  if (!document.ok()) return fail(document.error());
  out.file = file;
  out.digest = compute_sha256(text);
  out.text = std::move(text);
  return out;
}

Result<std::vector<OptionFile>> load_options(const std::vector<std::string>& paths) {
  std::vector<OptionFile> options;
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(Bytes text, read_file(path, kOptionSizeLimit));
    CALSEAL_ASSIGN(OptionFile option, parse_option(std::move(text), printable(path)));
    options.push_back(std::move(option));
  }
  return options;
}

std::string write_option(const Option& option) {
  const JsonValue whole = record_json(option, option_fields);
  const JsonMember& edits = whole.members.back();
  std::string text = "{\n";
  for (const JsonMember& member : whole.members) {
    if (&member == &edits) continue;
    text += "  ";
    append_canonical_string(text, member.first);
    text += ": " + canonical_json(member.second) + ",\n";
  }
  text += "  \"edits\": [\n";
  for (const JsonValue& edit : edits.second.items)
    text += "    " + canonical_json(edit) + (&edit != &edits.second.items.back() ? ",\n" : "\n");
  return text + "  ]\n}\n";
}

}  // namespace calseal
