#include "calseal/report/layout/page.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::size_t kLabelWidth = 13;  // columns before the text of labelled()
constexpr std::size_t kLeastText = 24;   // a column narrower than this is not worth wrapping into

std::string padded(const Page& page, const Cell& cell, std::size_t width) {
  const std::string blanks(width - std::min(width, display_width(cell.text)), ' ');
  const std::string text = page.painted(cell.mark, cell.text);
  return cell.right ? blanks + text : text + blanks;
}

void append_line(std::string& out, std::string line) {
  while (!line.empty() && line.back() == ' ') line.pop_back();
  out += line + "\n";
}

// Cells of a row that is wider than the page: one after another, as many as a line takes.
void append_flowing(std::string& out, const std::vector<Cell>& row, const Page& page, std::size_t indent) {
  std::string line(indent, ' ');
  std::size_t at = indent;
  bool fresh = true;
  for (const Cell& cell : row) {
    if (cell.text.empty()) continue;
    const std::size_t width = display_width(cell.text);
    if (!fresh && at + 2 + width > page.width) {
      append_line(out, line);
      at = indent + 4;
      line.assign(at, ' ');
      fresh = true;
    }
    const std::vector<std::string> parts = wrap_words(cell.text, page.width - std::min(page.width, at));
    for (std::size_t i = 0; i < parts.size(); ++i) {
      if (i != 0) {
        append_line(out, line);
        at = indent + 4;
        line.assign(at, ' ');
      }
      line += (fresh || i != 0 ? "" : "  ") + page.painted(cell.mark, parts[i]);
      at += (fresh || i != 0 ? 0 : 2) + display_width(parts[i]);
    }
    fresh = false;
  }
  append_line(out, line);
}

}  // namespace

std::size_t display_width(std::string_view text) {
  return static_cast<std::size_t>(
      std::ranges::count_if(text, [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
}

std::vector<std::string> wrap_words(std::string_view text, std::size_t width) {
  std::vector<std::string> lines(1);
  std::size_t used = 0;
  while (!text.empty()) {
    const std::size_t space = text.find(' ');
    const std::string_view word = text.substr(0, space);
    text.remove_prefix(space == std::string_view::npos ? text.size() : space + 1);
    const std::size_t size = display_width(word);
    if (used != 0 && used + 1 + size > width) {
      lines.emplace_back();
      used = 0;
    }
    if (used != 0) lines.back() += ' ';
    lines.back() += word;
    used += size + (used != 0 ? 1 : 0);
  }
  return lines;
}

std::string labelled(const Page& page, std::string_view label, std::string_view text, Mark mark) {
  std::string start = "  " + std::string(label);
  start.resize(std::max(start.size() + 1, kLabelWidth), ' ');
  std::string out;
  // A label that is longer than its column has a line of its own where the text would not fit beside it.
  if (start.size() > kLabelWidth && start.size() + display_width(text) > page.width) {
    append_line(out, start);
    start.assign(kLabelWidth, ' ');
  }
  for (const std::string& line : wrap_words(text, page.width - kLabelWidth)) {
    append_line(out, start + page.painted(mark, line));
    start.assign(kLabelWidth, ' ');
  }
  return out;
}

std::string counted(std::uint64_t count, std::string_view one, std::string_view many) {
  return grouped(count) + " " + std::string(count == 1 ? one : many);
}

std::string share_of_image(std::uint64_t hundredths) {
  const std::string cents = std::to_string(hundredths % 100);
  return std::to_string(hundredths / 100) + "." + (cents.size() == 1 ? "0" : "") + cents + " %";
}

std::string Columns::text(const Page& page, std::size_t indent) const {
  std::vector<std::size_t> widths;
  for (const auto& row : rows_) {
    widths.resize(std::max(widths.size(), row.size()), 0);
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], display_width(row[i].text));
  }
  std::size_t whole = indent;
  for (std::size_t i = 0; i < widths.size(); ++i)
    whole += i + 1 < widths.size() ? widths[i] + 2 : std::min(widths[i], kLeastText);
  std::string out;
  for (const auto& row : rows_) {
    if (whole > page.width) {
      append_flowing(out, row, page, indent);
      continue;
    }
    std::string line(indent, ' ');
    std::size_t at = indent;
    for (std::size_t i = 0; i + 1 < row.size(); ++i) {
      line += padded(page, row[i], widths[i]) + "  ";
      at += widths[i] + 2;
    }
    if (row.empty()) continue;
    const Cell& last = row.back();
    const std::size_t room = std::max(kLeastText, page.width - std::min(page.width, at));
    for (const std::string& part : wrap_words(last.text, room)) {
      const std::size_t width = last.right ? widths[row.size() - 1] : 0;
      append_line(out, line + padded(page, {part, last.mark, last.right}, width));
      line.assign(at, ' ');
    }
  }
  return out;
}

}  // namespace calseal
