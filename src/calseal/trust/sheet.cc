#include "calseal/trust/sheet.h"

#include <algorithm>
#include <array>
#include <set>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 3> kKindWords{"choice", "number", "text"};
constexpr std::array<std::string_view, 3> kStatesWords{"", "fuel", "hardware"};
constexpr std::uint64_t kRawSizeLimit = std::uint64_t{256} << 20;  // bytes

// Those of order 1, 2 and 4 with their unreduced forms, and the two of order 8 (RFC 7748 section 6.1); the
// top bit does not count.
constexpr std::array<std::string_view, 7> kWeakParcelKeys{
    "0000000000000000000000000000000000000000000000000000000000000000",
    "0100000000000000000000000000000000000000000000000000000000000000",
    "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
    "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
    "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
    "e0eb7a7c3b41b8ae1656e3faf19fc46ada098deb9c32b1fd866205165f49b800",
    "5f9c95bca3508c24b1d0b1559c83ef5b04445cc4581c8e86d8224eddd09f1157"};

void conditions_fields(Fields& field, SheetConditions& conditions) {
  field("options", conditions.options, List{kName, kSheetListLimit});
  field("fuel", conditions.fuel, List{kName, kSheetListLimit});
  field("hardware", conditions.hardware, List{kName, kSheetListLimit});
}

void option_fields_of_sheet(Fields& field, SheetOption& option) {
  field("name", option.name, kName);
  field("title", option.title, kLine);
  field("purpose", option.purpose, Text{kSheetPurposeLimit});
  field("controllers", option.controllers, List{kName, kSheetListLimit});
  field("requires", option.requires_also, Record{conditions_fields});
  field("excludes", option.excludes, Record{conditions_fields});
  field("cautions", option.cautions, List{kLine, kSheetListLimit});
}

void choice_fields(Fields& field, QuestionChoice& choice) {
  field("name", choice.name, kName);
  field("text", choice.text, kLine);
}

void one_question_fields(Fields& field, SheetQuestion& question) {
  field("name", question.name, kName);
  field("text", question.text, kLine);
  field("kind", question.kind, Choice{kKindWords});
  field("states", question.states, Choice{kStatesWords});
  field("required", question.required, kBoolean);
  field("choices", question.choices, List{Record{choice_fields}, kQuestionChoiceLimit});
}

void sheet_memory_fields(Fields& field, SheetMemory& memory) {
  field("name", memory.name, kName);
  field("size", memory.size, Integer{0, kRawSizeLimit});
}

void sheet_read_fields(Fields& field, SheetRead& read) {
  field("controller", read.controller, kName);
  field("title", read.title, kLine);
  field("memories", read.memories, List{Record{sheet_memory_fields}, kSheetMemoryLimit});
  field("again", read.again, kBoolean);
}

tl::unexpected<Error> sheet_invalid(const std::string& name, std::string place, std::string found,
                                    std::string expected) {
  return fail({Reason::kSheetInvalid, name, std::move(place), std::move(found), std::move(expected),
               "do not use this sheet; ask the shop for a new one"});
}

bool is_ascending(const std::vector<std::string>& names) {
  return std::adjacent_find(names.begin(), names.end(),
                            [](const auto& a, const auto& b) { return !(a < b); }) == names.end();
}

template <typename List>
bool names_differ(const List& list) {
  std::set<std::string_view> names;
  return std::all_of(list.begin(), list.end(),
                     [&](const auto& item) { return names.insert(item.name).second; });
}

Status check_options(const Sheet& sheet, const std::string& name) {
  for (std::size_t i = 0; i < sheet.options.size(); ++i) {
    const SheetOption& option = sheet.options[i];
    const std::string place = "/options/" + std::to_string(i);
    if (i > 0 && !(sheet.options[i - 1].name < option.name))
      return sheet_invalid(name, place, option.name, "options ascending by name");
    if (option.controllers.empty() || !is_ascending(option.controllers))
      return sheet_invalid(name, place + "/controllers", "none, or out of order", "controllers ascending");
    for (const SheetConditions* conditions : {&option.requires_also, &option.excludes}) {
      const std::string which = place + (conditions == &option.excludes ? "/excludes" : "/requires");
      for (const auto* names : {&conditions->options, &conditions->fuel, &conditions->hardware}) {
        if (!is_ascending(*names)) return sheet_invalid(name, which, "names out of order", "names ascending");
      }
      for (const std::string& other : conditions->options) {
        if (other != option.name && sheet.find_option(other) != nullptr) continue;
        return sheet_invalid(name, which + "/options", other, "another option of the sheet");
      }
    }
  }
  return {};
}

Status check_questions(const Sheet& sheet, const std::string& name) {
  if (!names_differ(sheet.asked.questions))
    return sheet_invalid(name, "/questions", "a name twice", "questions with different names");
  for (std::size_t i = 0; i < sheet.asked.questions.size(); ++i) {
    const SheetQuestion& question = sheet.asked.questions[i];
    const std::string place = "/questions/" + std::to_string(i);
    const std::size_t choices = question.choices.size();
    const bool is_choice = question.kind == QuestionKind::kChoice;
    if (is_choice ? choices < 2 : choices > 0)
      return sheet_invalid(name, place + "/choices", std::to_string(choices) + " choices",
                           is_choice ? "at least two" : "none");
    if (!names_differ(question.choices))
      return sheet_invalid(name, place + "/choices", "a name twice", "choices with different names");
    if (!is_choice && question.states != QuestionStates::kNothing)
      return sheet_invalid(name, place + "/states", "a fuel or a hardware of no choice", "\"\"");
  }
  return {};
}

Status check_reads(const Sheet& sheet, const std::string& name) {
  for (std::size_t i = 0; i < sheet.asked.reads.size(); ++i) {
    const SheetRead& read = sheet.asked.reads[i];
    const std::string place = "/reads/" + std::to_string(i);
    if (i > 0 && !(sheet.asked.reads[i - 1].controller < read.controller))
      return sheet_invalid(name, place, read.controller, "reads ascending by controller");
    if (read.memories.empty() || !names_differ(read.memories))
      return sheet_invalid(name, place + "/memories", "none, or a name twice",
                           "memories with different names");
  }
  return {};
}

}  // namespace

bool is_of_small_order(const ParcelKey& key) {
  std::array<std::uint8_t, 32> bytes = key.bytes;
  bytes.back() &= 0x7f;
  return std::find(kWeakParcelKeys.begin(), kWeakParcelKeys.end(), to_hex(bytes)) != kWeakParcelKeys.end();
}

const SheetOption* Sheet::find_option(std::string_view name) const {
  const auto at = std::find_if(options.begin(), options.end(),
                               [&](const SheetOption& option) { return option.name == name; });
  return at == options.end() ? nullptr : &*at;
}

const SheetQuestion* Sheet::find_question(std::string_view name) const {
  const auto at = std::find_if(asked.questions.begin(), asked.questions.end(),
                               [&](const SheetQuestion& question) { return question.name == name; });
  return at == asked.questions.end() ? nullptr : &*at;
}

std::uint64_t Sheet::size_of(std::string_view controller, std::string_view memory) const {
  for (const SheetRead& read : asked.reads) {
    if (read.controller != controller) continue;
    for (const SheetMemory& one : read.memories) {
      if (one.name == memory) return one.size;
    }
  }
  return 0;
}

void question_fields(Fields& field, SheetQuestions& asked) {
  field("questions", asked.questions, List{Record{one_question_fields}, kQuestionLimit});
  field("reads", asked.reads, List{Record{sheet_read_fields}, kSheetReadLimit});
  field("cautions", asked.cautions, List{kLine, kSheetCautionLimit});
}

void sheet_fields(Fields& field, Sheet& sheet) {
  field.kind_of_file("sheet/1");
  field("root", sheet.root, kDigest);
  field("number", sheet.number, Integer{1});
  field("claimed_time", sheet.claimed_time, kTime);
  field("parcel_key", sheet.parcel_key, OrNothing<HexArray>{});
  field("options", sheet.options, List{Record{option_fields_of_sheet}, kSheetOptionLimit});
  question_fields(field, sheet.asked);
}

std::string write_sheet_text(const Sheet& sheet) { return canonical_text(sheet, sheet_fields); }

Status check_sheet_consistency(const Sheet& sheet, const std::string& name) {
  CALSEAL_CHECK(check_options(sheet, name));
  CALSEAL_CHECK(check_questions(sheet, name));
  CALSEAL_CHECK(check_reads(sheet, name));
  if (sheet.parcel_key && is_of_small_order(*sheet.parcel_key))
    return sheet_invalid(name, "/parcel_key", "a point of small order", "a public key that somebody made");
  return {};
}

Result<Sheet> parse_sheet(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kSheetLiteral, kSheetSizeLimit, Reason::kSheetInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(Sheet sheet,
                 parse_canonical_text(statement.signed_bytes, Reason::kSheetInvalid, sheet_fields, name));
  CALSEAL_CHECK(check_sheet_consistency(sheet, name));
  const KeyId root = compute_key_id(trust.root);
  if (sheet.root != root)
    return sheet_invalid(name, "/root", digest_text(sheet.root),
                         "the trust file's root " + digest_text(root));
  // A sheet is for every customer.
  CALSEAL_CHECK(judge_statement(signers, Role::kSheet, {}, sheet.claimed_time, name));
  sheet.digest = compute_sha256(statement.signed_bytes);
  return sheet;
}

}  // namespace calseal
