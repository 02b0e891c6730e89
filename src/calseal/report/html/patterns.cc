#include "calseal/report/html/patterns.h"

#include <array>
#include <string>

namespace calseal {
namespace {

struct Pattern {
  Fill fill;
  std::string_view id, reference;
  int size;              // pixels, both ways
  std::string_view ink;  // path drawn in ink
};

// Dark to light, so that grey alone already orders them; the drawing tells the rest.
constexpr std::array<Pattern, 8> kPatterns = {{
    {Fill::kLocked, "fill-locked", "url(#fill-locked)", 6, ""},
    {Fill::kEditable, "fill-editable", "url(#fill-editable)", 6, ""},
    {Fill::kDerived, "fill-derived", "url(#fill-derived)", 6, "M0 1.5 H6 M0 4.5 H6"},
    {Fill::kFloating, "fill-floating", "url(#fill-floating)", 8, "M0 4 Q2 1 4 4 T8 4"},
    {Fill::kVolatile, "fill-volatile", "url(#fill-volatile)", 6,
     "M1.2 1.5 a.9 .9 0 1 0 .001 0 M4.2 4.5 a.9 .9 0 1 0 .001 0"},
    {Fill::kBinding, "fill-binding", "url(#fill-binding)", 6, "M0 0 L6 6 M6 0 L0 6"},
    {Fill::kUnknown, "fill-unknown", "url(#fill-unknown)", 8, "M-2 2 L2 -2 M0 8 L8 0 M6 10 L10 6"},
    {Fill::kChanged, "fill-changed", "url(#fill-changed)", 6, ""},
}};

const Pattern& pattern_of(Fill fill) { return kPatterns[static_cast<std::size_t>(fill)]; }

}  // namespace

Fill fill_of(SpanKind kind) {
  switch (kind) {
    case SpanKind::kLocked:
      return Fill::kLocked;
    case SpanKind::kEditable:
      return Fill::kEditable;
    case SpanKind::kDerived:
      return Fill::kDerived;
    case SpanKind::kFloating:
      return Fill::kFloating;
    case SpanKind::kVolatile:
      return Fill::kVolatile;
    case SpanKind::kBinding:
      return Fill::kBinding;
  }
  return Fill::kLocked;
}

Html pattern_definitions() {
  Html patterns;
  for (const Pattern& pattern : kPatterns) {
    const std::string size = std::to_string(pattern.size);
    Html drawn = element("rect", {{"width", size}, {"height", size}});
    if (!pattern.ink.empty()) drawn += element("path", {{"d", std::string(pattern.ink)}});
    patterns += element("pattern",
                        {{"id", std::string(pattern.id)},
                         {"class", std::string(pattern.id)},
                         {"patternUnits", "userSpaceOnUse"},
                         {"width", size},
                         {"height", size}},
                        drawn);
  }
  return element("svg.definitions",
                 {{"width", "0"}, {"height", "0"}, {"aria-hidden", "true"}, {"focusable", "false"}},
                 element("defs", patterns));
}

std::string_view fill_reference(Fill fill) { return pattern_of(fill).reference; }

Html pattern_swatch(Fill fill) {
  return element("svg.swatch",
                 {{"width", "22"}, {"height", "14"}, {"aria-hidden", "true"}, {"focusable", "false"}},
                 element("rect", {{"x", "0.5"},
                                  {"y", "0.5"},
                                  {"width", "21"},
                                  {"height", "13"},
                                  {"fill", std::string(fill_reference(fill))}}));
}

}  // namespace calseal
