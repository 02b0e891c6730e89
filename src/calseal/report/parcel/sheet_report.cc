#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/report/parcel/parcel_report.h"
#include "calseal/report/verdict/labelled_lines.h"

namespace calseal {
namespace {

constexpr LabelledLines kLines(kParcelColumn);

std::string line(std::string_view label, const std::string& value) { return kLines.line(label, value); }

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
  std::string text =
      line("option", option.name + ": " + printable(option.title) + " (" + joined(option.controllers) + ")");
  const std::string requires_also = conditions_text(option.requires_also);
  const std::string excludes = conditions_text(option.excludes);
  if (!requires_also.empty()) text += line("", "requires " + requires_also);
  if (!excludes.empty()) text += line("", "excludes " + excludes);
  for (const std::string& caution : option.cautions) text += line("", "caution: " + printable(caution));
  return text;
}

std::string question_text(const SheetQuestion& question) {
  std::string text = line(
      "question", question.name + ": " + printable(question.text) + (question.required ? " (required)" : ""));
  for (const QuestionChoice& choice : question.choices)
    text += line("", choice.name + ": " + printable(choice.text));
  return text;
}

std::string read_text(const SheetRead& read) {
  std::string memories;
  for (const SheetMemory& memory : read.memories) {
    memories += (memories.empty() ? "" : ", ") + memory.name +
                (memory.size == 0 ? "" : " of " + bytes_text(memory.size));
  }
  return line("read", read.controller + ": " + printable(read.title) + ": " + memories +
                          (read.again ? "; read twice" : ""));
}

}  // namespace

std::string sheet_text(const Sheet& sheet) {
  std::string text = line("number", std::to_string(sheet.number));
  text += line("claimed", sheet.claimed_time);
  text += line("parcels", sheet.parcel_key ? "closed to the shop's key" : "not closed");
  text += line("digest", digest_text(sheet.digest));
  for (const SheetOption& option : sheet.options) text += option_text(option);
  for (const SheetQuestion& question : sheet.asked.questions) text += question_text(question);
  for (const SheetRead& read : sheet.asked.reads) text += read_text(read);
  for (const std::string& caution : sheet.asked.cautions) text += line("caution", printable(caution));
  return text;
}

void add_sheet(JsonValue& value, const Sheet& sheet) {
  value.members.emplace_back("digest", json(digest_text(sheet.digest)));
  value.members.emplace_back("sheet", record_json(sheet, sheet_fields));
}

}  // namespace calseal
