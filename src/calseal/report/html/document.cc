#include "calseal/report/html/document.h"

#include "calseal/base/base64.h"
#include "calseal/digest/sha256.h"
#include "calseal/report/html/patterns.h"

namespace calseal {
namespace {

// The style is our own source and the one text that is not escaped; it holds no "<".
std::string style_element() { return "<style>" + std::string(report_style()) + "</style>"; }

Html meta(std::string_view name, std::string_view content) {
  return element("meta", {{"name", std::string(name)}, {"content", std::string(content)}});
}

}  // namespace

std::string csp_source(std::string_view text) {
  return "sha256-" + to_base64(compute_sha256(view_of(text)).bytes);
}

std::string html_document(const Document& document) {
  const std::string policy = "default-src 'none'; style-src '" + csp_source(report_style()) +
                             "'; base-uri 'none'; form-action 'none'";
  Html head = element("meta", {{"charset", "utf-8"}});
  head += element("meta", {{"http-equiv", "Content-Security-Policy"}, {"content", policy}});
  head += meta("viewport", "width=device-width, initial-scale=1");
  head += meta("color-scheme", "light dark");
  head += meta("referrer", "no-referrer");
  head += element("title", document.title);
  const Html body =
      pattern_definitions() + element("main", document.body) +
      element("footer",
              "Made by " + document.tool +
                  ". This page holds everything that it shows and fetches nothing. It is a picture of "
                  "files as they were when it was made, and signed by nobody: the bundle is what "
                  "counts.");
  return "<!doctype html>\n<html lang=\"en\"><head>" + head.markup() + style_element() + "</head>\n<body>" +
         body.markup() + "</body></html>\n";
}

}  // namespace calseal
