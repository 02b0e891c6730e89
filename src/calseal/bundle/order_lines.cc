#include "calseal/bundle/order_lines.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {

std::vector<OrderLine> order_lines(const Manifest& manifest) {
  std::vector<OrderLine> lines;
  if (manifest.ordered.time.empty()) return lines;
  const auto& ordered = manifest.ordered.options;
  for (const OrderedOption& one : ordered)
    lines.push_back({one.name, one.title, one.why.empty() ? OrderState::kIn : OrderState::kNotIn, one.why});
  for (const ManifestOption& one : manifest.options) {
    if (std::ranges::find(ordered, one.name, &OrderedOption::name) == ordered.end())
      lines.push_back({one.name, one.title, OrderState::kNotOrdered, ""});
  }
  return lines;
}

std::string order_words(const OrderLine& line) {
  switch (line.state) {
    case OrderState::kIn:
      return "in this revision";
    case OrderState::kNotIn:
      return "NOT in this revision: " + printable(line.why);
    case OrderState::kNotOrdered:
      return "in this revision, and was not ordered";
  }
  return {};
}

std::string order_subject(const OrderLine& line) {
  return line.title.empty() ? printable(line.name)
                            : printable(line.title) + " (" + printable(line.name) + ")";
}

}  // namespace calseal
