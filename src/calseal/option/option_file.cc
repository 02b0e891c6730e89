#include "calseal/option/option_file.h"

#include <algorithm>
#include <map>

#include "calseal/base/file.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/json_write.h"
#include "calseal/base/range_set.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::string_view kKind = "option/";
constexpr std::string_view kFormat = "option/1";
constexpr std::size_t kEditBytesLimit = 65536;  // of one edit
constexpr std::size_t kProseLimit = 4096;       // bytes

// The kind decides before anything else: another format has other keys.
void read_kind(JsonObject& top) {
  const auto node = top.required("calseal");
  if (!node) return;
  const std::string kind = node->text();
  if (kind == kFormat || !node->is_text()) return;
  node->refuse(kind.starts_with(kKind) ? Reason::kFormatUnknown : Reason::kTypeWrong,
               "\"" + printable(kind, 60) + "\"", "\"" + std::string(kFormat) + "\"");
}

std::vector<JsonNode> optional_items(JsonObject& object, std::string_view key, std::size_t limit) {
  const auto node = object.optional(key);
  return node ? node->items(limit) : std::vector<JsonNode>();
}

std::vector<std::string> read_names(JsonObject& object, std::string_view key) {
  std::vector<std::string> names;
  for (const JsonNode& node : optional_items(object, key, kOptionListLimit)) {
    names.push_back(read_name(node));
    if (std::count(names.begin(), names.end(), names.back()) > 1)
      node.refuse(Reason::kJsonValue, "\"" + names.back() + "\" again", "each name once");
  }
  return names;
}

std::vector<std::string> read_lines(JsonObject& object, std::string_view key) {
  std::vector<std::string> lines;
  for (const JsonNode& node : optional_items(object, key, kOptionListLimit)) lines.push_back(read_line(node));
  return lines;
}

std::string read_prose(JsonObject& object, std::string_view key) {
  const auto node = object.optional(key);
  return node ? node->text(kProseLimit) : std::string();
}

OptionConditions read_conditions(JsonObject& top, std::string_view key) {
  const auto node = top.optional(key);
  if (!node) return {};
  JsonObject object(*node);
  OptionConditions conditions{read_names(object, "options"), read_names(object, "fuel"),
                              read_names(object, "hardware")};
  object.done();
  return conditions;
}

OptionEdit read_edit(const JsonNode& node) {
  JsonObject object(node);
  OptionEdit edit;
  if (object.has("item")) {
    // The name of an item may be one of a repetition, like "curve[3]".
    edit.item = object.text("item", kLineLimit);
    if (object.has("offset")) edit.at = object.integer("offset", 0, kAddressLimit - 1);
  } else {
    edit.memory = read_name(object, "memory");
    edit.at = object.address("at");
  }
  edit.before = object.hex("before", 1, kEditBytesLimit);
  edit.after = object.hex("after", 1, kEditBytesLimit);
  object.done();
  if (node.document().ok() && edit.before.size() != edit.after.size()) {
    node.refuse(Reason::kOptionInvalid,
                bytes_text(edit.before.size()) + " before, " + bytes_text(edit.after.size()) + " after",
                "as many bytes after as before");
  }
  return edit;
}

void read_family(JsonObject& top, Option& option) {
  const auto node = top.required("family");
  if (!node) return;
  JsonObject object(*node);
  option.controller = read_name(object, "controller");
  option.region_map = read_name(object, "region_map");
  if (object.has("digest")) option.map_digest = read_digest(object, "digest");
  object.done();
  option.software_numbers = read_lines(top, "software_numbers");
}

void read_edits(JsonObject& top, Option& option) {
  const auto list = top.required("edits");
  if (!list) return;
  std::uint64_t total = 0;
  for (const JsonNode& node : list->items(kOptionEditLimit)) {
    option.edits.push_back(read_edit(node));
    total += option.edits.back().after.size();
    if (total > kOptionByteLimit) {
      node.refuse(Reason::kJsonValue, grouped(total) + " bytes of edits up to this one",
                  "at most " + grouped(kOptionByteLimit));
      return;
    }
  }
}

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

JsonValue conditions_json(const OptionConditions& conditions) {
  return json_object({{"options", json_strings(conditions.options)},
                      {"fuel", json_strings(conditions.fuel)},
                      {"hardware", json_strings(conditions.hardware)}});
}

JsonValue edit_json(const OptionEdit& edit) {
  JsonValue value = edit.item.empty()
                        ? json_object({{"memory", json(edit.memory)}, {"at", json(address_text(edit.at))}})
                        : json_object({{"item", json(edit.item)}, {"offset", json(edit.at)}});
  value.members.emplace_back("before", json(to_hex(edit.before)));
  value.members.emplace_back("after", json(to_hex(edit.after)));
  return value;
}

}  // namespace

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
  Option& option = out.option;
  option.name = read_name(top, "name");
  option.title = read_line(top, "title");
  option.purpose = read_prose(top, "purpose");
  read_family(top, option);
  option.requires_also = read_conditions(top, "requires");
  option.excludes = read_conditions(top, "excludes");
  read_edits(top, option);
  option.cautions = read_lines(top, "cautions");
  option.note = read_prose(top, "note");
  top.done();
  if (document.ok()) judge_alone(root, option);
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
  JsonValue family =
      json_object({{"controller", json(option.controller)}, {"region_map", json(option.region_map)}});
  if (option.map_digest) family.members.emplace_back("digest", json_digest(*option.map_digest));
  const JsonValue head = json_object({{"calseal", json(kFormat)},
                                      {"name", json(option.name)},
                                      {"title", json(option.title)},
                                      {"purpose", json(option.purpose)},
                                      {"family", std::move(family)},
                                      {"software_numbers", json_strings(option.software_numbers)},
                                      {"requires", conditions_json(option.requires_also)},
                                      {"excludes", conditions_json(option.excludes)},
                                      {"cautions", json_strings(option.cautions)},
                                      {"note", json(option.note)}});
  std::string text = "{\n";
  for (const JsonMember& member : head.members) {
    text += "  ";
    append_canonical_string(text, member.first);
    text += ": " + canonical_json(member.second) + ",\n";
  }
  text += "  \"edits\": [\n";
  for (std::size_t i = 0; i < option.edits.size(); ++i)
    text +=
        "    " + canonical_json(edit_json(option.edits[i])) + (i + 1 < option.edits.size() ? ",\n" : "\n");
  return text + "  ]\n}\n";
}

}  // namespace calseal
