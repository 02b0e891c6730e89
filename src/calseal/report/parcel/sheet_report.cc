#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/report/parcel/parcel_report.h"
#include "calseal/report/verdict/labelled_lines.h"

namespace calseal {
namespace {

constexpr LabelledLines kSheetLines(kParcelColumn);

std::string sheet_line(std::string_view label, const std::string& value) {
  return kSheetLines.line(label, value);
}

std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}

std::string conditions_text(const SheetConditions& conditions) {
  std::string text;
  const auto add = [&](std::string_view what, const std::vector<std::string>& names) {
    if (!names.empty()) text += (text.empty() ? "" : "; ") + std::string(what) + " " + joined(names);
  };
  add("option", conditions.options);
  add("fuel", conditions.fuel);
  add("hardware", conditions.hardware);
  return text;
}

std::string option_text(const SheetOption& option) {
  std::string text = sheet_line(
      "option", option.name + ": " + printable(option.title) + " (" + joined(option.controllers) + ")");
  const std::string requires_also = conditions_text(option.requires_also);
  const std::string excludes = conditions_text(option.excludes);
  if (!requires_also.empty()) text += sheet_line("", "requires " + requires_also);
  if (!excludes.empty()) text += sheet_line("", "excludes " + excludes);
  for (const std::string& caution : option.cautions) text += sheet_line("", "caution: " + printable(caution));
  return text;
}

std::string question_text(const SheetQuestion& question) {
  std::string text = sheet_line(
      "question", question.name + ": " + printable(question.text) + (question.required ? " (required)" : ""));
  for (const QuestionChoice& choice : question.choices)
    text += sheet_line("", choice.name + ": " + printable(choice.text));
  return text;
}

std::string read_text(const SheetRead& read) {
  std::string memories;
  for (const SheetMemory& memory : read.memories) {
    memories += (memories.empty() ? "" : ", ") + memory.name +
                (memory.size == 0 ? "" : " of " + bytes_text(memory.size));
  }
  return sheet_line("read", read.controller + ": " + printable(read.title) + ": " + memories +
                                (read.again ? "; read twice" : ""));
}

}  // namespace

std::string sheet_text(const Sheet& sheet) {
  std::string text = sheet_line("number", std::to_string(sheet.number));
  text += sheet_line("claimed", sheet.claimed_time);
  text += sheet_line("parcels", sheet.parcel_key ? "closed to the shop's key" : "not closed");
  text += sheet_line("digest", digest_text(sheet.digest));
  for (const SheetOption& option : sheet.options) text += option_text(option);
  for (const SheetQuestion& question : sheet.asked.questions) text += question_text(question);
  for (const SheetRead& read : sheet.asked.reads) text += read_text(read);
  for (const std::string& caution : sheet.asked.cautions) text += sheet_line("caution", printable(caution));
  return text;
}

void add_sheet(JsonValue& value, const Sheet& sheet) {
  value.members.emplace_back("digest", json(digest_text(sheet.digest)));
  value.members.emplace_back("sheet", record_json(sheet, sheet_fields));
}

}  // namespace calseal
