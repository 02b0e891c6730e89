#include "calseal/report/html/markup.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 4> kWithoutContent = {"meta", "br", "col", "hr"};

}  // namespace

std::string escaped_markup(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out.push_back(c);
    }
  }
  return out;
}

Html::Html(std::string_view text) : markup_(escaped_markup(printable(text, kMarkupTextLimit))) {}

Element::Element(MarkupName name, const Attributes& attributes) {
  const std::string_view whole = name.text();
  name_ = whole.substr(0, whole.find('.'));
  std::string& out = html_.markup_;
  out = "<" + std::string(name_);
  if (name_.size() < whole.size()) {
    std::string classes(whole.substr(name_.size() + 1));
    std::ranges::replace(classes, '.', ' ');
    out += " class=\"" + classes + "\"";
  }
  for (const Attribute& attribute : attributes) {
    out += " " + std::string(attribute.name.text()) + "=\"" +
           escaped_markup(printable(attribute.value, kMarkupValueLimit)) + "\"";
  }
  out += ">";
}

Html Element::html() && {
  if (std::ranges::find(kWithoutContent, name_) == kWithoutContent.end())
    html_.markup_ += "</" + std::string(name_) + ">";
  return std::move(html_);
}

Html said(std::string_view text) { return element("bdi", text); }

Html said_lines(std::string_view text, std::size_t lines) {
  Html out;
  while (!text.empty() && lines-- > 0) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    out += element("p.said", said(text.substr(0, end)));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  if (!text.empty()) {
    const auto left =
        static_cast<std::uint64_t>(std::ranges::count(text, '\n')) + (text.back() == '\n' ? 0 : 1);
    out += element("p.quiet", "and " + grouped(left) + " more lines");
  }
  return out;
}

}  // namespace calseal
