// A report as one HTML file: its style inside, no script, nothing fetched. Reads from disk, on a phone and in
// print, light and dark.
#pragma once

#include <string>
#include <string_view>

#include "calseal/report/html/markup.h"

namespace calseal {

struct Document {
  std::string title;
  std::string tool;  // program and version that made it
  Html body;         // of <main>
};

// The same inputs give the same bytes. The Content-Security-Policy (level 3) allows the style alone, by its
// digest.
std::string html_document(const Document& document);

// A source of Content-Security-Policy Level 3, without its quotes: these bytes, and no others.
std::string csp_source(std::string_view text);

// The style sheet, src/calseal/report/html/report.css.
std::string_view report_style();

}  // namespace calseal
