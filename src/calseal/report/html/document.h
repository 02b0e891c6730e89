// A report as one HTML file: its style inside, no script, nothing fetched. Reads from disk, on a phone and in
// print, light and dark.
#pragma once

#include <string>
#include <string_view>

#include "calseal/report/html/markup.h"

namespace calseal {

// What stands at the edge of every printed page, beside its number. Empty texts are left out.
struct PaperEdge {
  std::string about;     // job, controller, revision
  std::string identity;  // digest that names what the page is about
  std::string state;     // a word for trouble, then paper_state()
};

// "verified" where seals were judged and hold, else "DRAFT"; "proved" where bytes were computed again, else
// "claimed".
std::string paper_state(bool verified, bool proved);

struct Document {
  std::string title;
  std::string tool;  // program and version that made it
  Html body;         // of <main>
  PaperEdge edge = {};
};

// The same inputs give the same bytes. The Content-Security-Policy (level 3) allows its two styles alone, by
// their digests.
std::string html_document(const Document& document);

// A source of Content-Security-Policy Level 3, without its quotes: these bytes, and no others.
std::string csp_source(std::string_view text);

// The style sheet, src/calseal/report/html/report.css.
std::string_view report_style();

}  // namespace calseal
