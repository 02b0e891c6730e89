#include "calseal/report/html/parts.h"

#include "calseal/base/text.h"
#include "calseal/report/html/patterns.h"

namespace calseal {
namespace {

struct Look {
  MarkupName band;
  std::string_view path;  // of its sign, 24 by 24
};

Look look_of(Stance stance) {
  switch (stance) {
    case Stance::kGood:
      return {"div.verdict.good", "M5 12.5 L10 17.5 L19.5 7"};
    case Stance::kBad:
      return {"div.verdict.bad", "M6.5 6.5 L17.5 17.5 M17.5 6.5 L6.5 17.5"};
    case Stance::kSealOnly:
      return {"div.verdict.mind", "M12 4.5 L12 14.5 M6 9.5 L12 15.5 L18 9.5 M5 19.5 L19 19.5"};
    case Stance::kNotVerified:
      return {"div.verdict.mind", "M8 9 A4 4 0 1 1 12 13 L12 15.5 M12 18.5 L12 19.5"};
  }
  return {"div.verdict.bad", ""};
}

Html state_with_sign(MarkupName name, std::string_view sign, std::string_view word) {
  return element(name, element("span.sign", {{"aria-hidden", "true"}}, sign), " ", word);
}

}  // namespace

Html section(std::string_view title, const Html& note, const Html& content) {
  Html head = element("h2", title);
  if (!note.empty()) head += element("p.quiet", note);
  return element("section", element("div.head", head), element("div.content", content));
}

void Facts::add(std::string_view name, const Html& value) {
  if (!value.empty()) rows_ += element("div", element("dt", name), element("dd", value));
}

Html Facts::html() const { return rows_.empty() ? Html() : element("dl", rows_); }

Table::Table(std::string_view caption, std::vector<TableColumn> columns)
    : caption_(caption), columns_(std::move(columns)) {}

void Table::add(const std::vector<Html>& cells) {
  Html row;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const Attributes label = {{"data-label", columns_[i].title}};
    if (i == 0)
      row += element("th", {{"scope", "row"}}, cells[i]);
    else
      row += columns_[i].number ? element("td.number", label, cells[i]) : element("td", label, cells[i]);
  }
  rows_ += element("tr", row);
}

Html Table::html() const {
  Html head;
  for (const TableColumn& column : columns_) {
    const Attributes scope = {{"scope", "col"}};
    head += column.number ? element("th.number", scope, column.title) : element("th", scope, column.title);
  }
  return element("table.rows", element("caption", caption_), element("thead", element("tr", head)),
                 element("tbody", rows_));
}

Html verdict_band(Stance stance, std::string_view word, const Html& sentence, const Html& more) {
  const Look look = look_of(stance);
  const Html sign =
      element("svg.sign", {{"viewBox", "0 0 24 24"}, {"aria-hidden", "true"}, {"focusable", "false"}},
              element("circle", {{"cx", "12"}, {"cy", "12"}, {"r", "11"}}),
              element("path", {{"d", std::string(look.path)}}));
  return element(look.band, element("p.word", sign, element("strong", word)), element("p", sentence), more);
}

Html error_facts(const Error& error) {
  Facts facts;
  facts.add("reason", Html(info(error.reason).meaning) + " " + element("code", code(error.reason)));
  facts.add("where", error.file.empty() || error.place.empty() ? said(error.file + error.place)
                                                               : said(error.file + ": " + error.place));
  if (!error.found.empty()) facts.add("found", said(error.found));
  if (!error.expected.empty()) facts.add("expected", said(error.expected));
  if (!error.next.empty()) facts.add("next", said(error.next));
  return facts.html();
}

Html check_state(CheckState state) {
  switch (state) {
    case CheckState::kHolds:
      return state_with_sign("span.state.good", "✓", "holds");
    case CheckState::kFails:
      return state_with_sign("span.state.bad", "✕", "fails");
    case CheckState::kNotProvable:
      return state_with_sign("span.state.mind", "?", "not provable");
  }
  return {};
}

Html kind_key(SpanKind kind) {
  return element("span.key", pattern_swatch(fill_of(kind)), " ", span_kind_name(kind));
}

Html unknown_key() { return element("span.key", pattern_swatch(Fill::kUnknown), " unknown"); }

Html warning(const Html& text) {
  return element("p.warning", element("span.sign", {{"aria-hidden", "true"}}, "!"), element("span", text));
}

Html code(std::string_view text) { return element("code", text); }

Html number(std::uint64_t value) { return grouped(value); }

Html byte_count(std::uint64_t count) { return bytes_text(count); }

std::string size_words(std::uint64_t bytes) {
  constexpr std::uint64_t kKiB = 1024;
  if (bytes != 0 && bytes % (kKiB * kKiB) == 0) return grouped(bytes / (kKiB * kKiB)) + " MiB";
  if (bytes != 0 && bytes % kKiB == 0) return grouped(bytes / kKiB) + " KiB";
  return bytes_text(bytes);
}

}  // namespace calseal
