// The customer's order as a manifest tells it, option by option. The shop's word: nobody proves it.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/bundle/manifest.h"

namespace calseal {

enum class OrderState : std::uint8_t {
  kIn,          // ordered, and in this revision
  kNotIn,       // ordered; `why` says why it is not in it
  kNotOrdered,  // in this revision all the same
};
inline constexpr std::array<std::string_view, 3> kOrderStateNames{"in", "not-in", "not-ordered"};
inline std::string_view order_state_name(OrderState state) {
  return kOrderStateNames[static_cast<std::size_t>(state)];
}

struct OrderLine {
  std::string name, title;
  OrderState state = OrderState::kIn;
  std::string why;
};

// What was ordered, by name, then what is in the revision besides, as the manifest lists it. Nothing where no
// order is known.
std::vector<OrderLine> order_lines(const Manifest& manifest);

// "in this revision" and the like, with why. Plain text, made printable.
std::string order_words(const OrderLine& line);
// The title where there is one, and the name. Likewise.
std::string order_subject(const OrderLine& line);

}  // namespace calseal
