// HTML and SVG that say only what was meant: text becomes markup by being escaped, names of elements and
// attributes are literals of our sources, and nothing else can make an Html. So no name, title or note of a
// bundle can open an element, end an attribute or turn the line around.
#pragma once

#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

namespace calseal {

// What is longer is cut with "...".
inline constexpr std::size_t kMarkupTextLimit = 4096;                   // bytes of one text
inline constexpr std::size_t kMarkupValueLimit = std::size_t{1} << 20;  // bytes of one attribute: drawings

// An element's name with its classes, "td" or "td.number.quiet", or an attribute's name; checked when
// compiled.
class MarkupName {
 public:
  consteval MarkupName(const char* literal) : text_(literal) {
    char last = '.';
    for (const char c : text_) {
      const bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
      const bool later = letter || (c >= '0' && c <= '9') || c == '-' || c == '.';
      if (!(last == '.' ? letter : later)) throw "no name of an element or attribute";
      last = c;
    }
    if (last == '.') throw "no name of an element or attribute";
  }
  constexpr std::string_view text() const { return text_; }

 private:
  std::string_view text_;
};

// Text as it stands in elements and in quoted attributes.
std::string escaped_markup(std::string_view text);

// A finished piece of a page.
class Html {
 public:
  Html() = default;
  // Text as text: printable() of it, then escaped.
  Html(std::string_view text);
  Html(const std::string& text) : Html(std::string_view(text)) {}
  Html(const char* text) : Html(std::string_view(text)) {}

  Html& operator+=(const Html& more) {
    markup_ += more.markup_;
    return *this;
  }
  friend Html operator+(Html a, const Html& b) { return a += b; }
  bool empty() const { return markup_.empty(); }
  const std::string& markup() const { return markup_; }

 private:
  friend class Element;
  std::string markup_;
};

struct Attribute {
  MarkupName name;
  std::string value;
};
using Attributes = std::vector<Attribute>;

// Opened when made, closed by html(); elements without content (meta, br, col) are not closed.
class Element {
 public:
  Element(MarkupName name, const Attributes& attributes);
  void add(const Html& child) { html_ += child; }
  Html html() &&;

 private:
  std::string_view name_;
  Html html_;
};

// element("p.note", "the title is ", said(title)); children are Html or text.
template <typename... Children>
Html element(MarkupName name, const Attributes& attributes, const Children&... children) {
  Element made(name, attributes);
  (made.add(Html(children)), ...);
  return std::move(made).html();
}
template <typename... Children>
requires(!(std::is_same_v<Children, Attributes> || ...)) Html
    element(MarkupName name, const Children&... children) {
  return element(name, Attributes{}, children...);
}

// What a file says, as against what calseal says: set apart from the direction of the text around it.
Html said(std::string_view text);

// The same of several lines, each a line of its own; at most `lines` of them, then how many were left out.
Html said_lines(std::string_view text, std::size_t lines = 200);

}  // namespace calseal
