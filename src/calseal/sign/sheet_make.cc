#include "calseal/sign/sheet_make.h"

#include <algorithm>
#include <map>

#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

SheetConditions ascending(const OptionConditions& conditions) {
  SheetConditions out{conditions.options, conditions.fuel, conditions.hardware};
  for (auto* names : {&out.options, &out.fuel, &out.hardware}) std::ranges::sort(*names);
  return out;
}

SheetOption offered(const Option& option) {
  return {option.name,
          option.title,
          option.purpose,
          {option.controller},
          ascending(option.requires_also),
          ascending(option.excludes),
          option.cautions};
}

// The first field in which two files of one name differ; empty where they agree.
std::string difference(const SheetOption& a, const SheetOption& b) {
  if (a.title != b.title) return "title";
  if (a.purpose != b.purpose) return "purpose";
  if (a.requires_also != b.requires_also) return "requires";
  if (a.excludes != b.excludes) return "excludes";
  return a.cautions != b.cautions ? "cautions" : "";
}

}  // namespace

Result<std::vector<SheetOption>> offered_options(const std::vector<OptionFile>& files) {
  std::map<std::string, SheetOption> by_name;
  std::map<std::string, std::string> first_file;
  for (const OptionFile& file : files) {
    SheetOption option = offered(file.option);
    const auto [at, is_new] = by_name.emplace(option.name, option);
    if (is_new) {
      first_file[option.name] = file.file;
      continue;
    }
    SheetOption& there = at->second;
    if (const std::string field = difference(there, option); !field.empty()) {
      return fail({Reason::kSheetInvalid, file.file, "/" + field,
                   "another " + field + " of " + option.name + " than in " + first_file[option.name],
                   "files of one name that agree", "make them agree, or give one of them another name"});
    }
    const std::string& controller = file.option.controller;
    const auto place = std::ranges::lower_bound(there.controllers, controller);
    if (place == there.controllers.end() || *place != controller) there.controllers.insert(place, controller);
  }
  std::vector<SheetOption> options;
  for (auto& [name, option] : by_name) options.push_back(std::move(option));
  return options;
}

Result<SheetQuestions> parse_sheet_questions(ByteView text, const std::string& name) {
  return parse_fields(text_of(text), question_fields, name);
}

Result<std::string> seal_sheet(const Sheet& sheet, const SigningKeys& keys, const TrustFile& trust) {
  CALSEAL_CHECK(check_sheet_consistency(sheet, ""));
  CALSEAL_ASSIGN(std::string file, sign_statement(write_sheet_text(sheet), keys));
  CALSEAL_CHECK(parse_sheet(view_of(file), trust, ""));
  return file;
}

}  // namespace calseal
