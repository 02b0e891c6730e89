#include "calseal/report/html/document.h"

#include "calseal/base/base64.h"
#include "calseal/base/text.h"
#include "calseal/digest/sha256.h"
#include "calseal/report/html/patterns.h"

namespace calseal {
namespace {

// A style is our own source, or text made by css_string(): it holds no "<".
std::string style_element(std::string_view style) { return "<style>" + std::string(style) + "</style>"; }

// A string of CSS. All of ASCII but letters, digits and the space is written by number, so nothing ends it.
std::string css_string(std::string_view text) {
  constexpr std::size_t kMostOnEdge = 160;
  std::string out = "\"";
  for (const char c : printable(text, kMostOnEdge)) {
    const auto byte = static_cast<unsigned char>(c);
    const bool plain = byte >= 0x80 || c == ' ' || (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') ||
                       (c >= 'A' && c <= 'Z');
    if (plain) {
      out += c;
    } else {
      constexpr char kDigits[] = "0123456789abcdef";
      out += '\\';
      out += kDigits[byte >> 4];
      out += kDigits[byte & 15];
      out += ' ';
    }
  }
  return out + "\"";
}

// CSS Paged Media Level 3: boxes in the margin of every edge.
std::string edge_style(const PaperEdge& edge) {
  const auto box = [](std::string_view place, const std::string& text) {
    return text.empty() ? std::string() : "@" + std::string(place) + "{content:" + css_string(text) + "}";
  };
  return "@page{" + box("top-left", edge.about) + box("top-right", edge.state) +
         box("bottom-left", edge.identity.empty() ? "" : "identity " + edge.identity) + "}";
}

Html meta(std::string_view name, std::string_view content) {
  return element("meta", {{"name", std::string(name)}, {"content", std::string(content)}});
}

}  // namespace

std::string paper_state(bool verified, bool proved) {
  return std::string(verified ? "verified" : "DRAFT") + ", " + (proved ? "proved" : "claimed");
}

std::string csp_source(std::string_view text) {
  return "sha256-" + to_base64(compute_sha256(view_of(text)).bytes);
}

std::string html_document(const Document& document) {
  const std::string edge = edge_style(document.edge);
  const std::string policy = "default-src 'none'; style-src '" + csp_source(report_style()) + "' '" +
                             csp_source(edge) + "'; base-uri 'none'; form-action 'none'";
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
  return "<!doctype html>\n<html lang=\"en\"><head>" + head.markup() + style_element(report_style()) +
         style_element(edge) + "</head>\n<body>" + body.markup() + "</body></html>\n";
}

}  // namespace calseal
