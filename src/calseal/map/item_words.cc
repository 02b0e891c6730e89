#include "calseal/map/item_words.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr int kPlacesShown = 4;

Quantity distance(const Quantity& a, const Quantity& b) { return a.compare(b) < 0 ? b.minus(a) : a.minus(b); }

// From the value of an element to that of the next stored number, or of the one before where there is none.
Quantity step_at(const Item& item, const Image& image, std::uint64_t element) {
  const std::int64_t stored = stored_number(item, image, element);
  const Quantity here = convert(item.conversion, stored);
  const Quantity next = distance(convert(item.conversion, stored + 1), here);
  return next.is_defined() ? next : distance(convert(item.conversion, stored - 1), here);
}

}  // namespace

int places_needed(const Item& item, const Image& image, std::uint64_t element) {
  const int all = item_value(item, image, element).decimals();
  if (is_floating(item.type) || (all >= 0 && all <= kPlacesShown)) return all;
  const Quantity step = step_at(item, image, element);
  int places = 0;
  while (places < kDecimalDigits && step.compare(Decimal{1, places}) < 0) ++places;
  return std::min(places + 1, kDecimalDigits);
}

std::string number_words(const Quantity& value, int places) { return grouped(value.rounded_text(places)); }

std::string difference_words(const Quantity& difference, int places) {
  const std::string text = number_words(difference, places);
  return difference.compare(Decimal{}) > 0 && text != "0" ? "+" + text : text;
}

std::string declared_name(const Item& item) { return item.name.substr(0, item.name.find('[')); }

}  // namespace calseal
