#include "calseal/cli/console/reader.h"

#include <string_view>
#include <utility>

namespace calseal {
namespace {

struct Advice {
  Reader reader;  // whom it is told to
  std::string_view raised, told;
};
constexpr Advice kAdvice[] = {
#define CALSEAL_TO_SHOP(raised, told) {Reader::kShop, raised, told},
#define CALSEAL_TO_CUSTOMER(raised, told) {Reader::kCustomer, raised, told},
#include "calseal/cli/console/advice.inc"
#undef CALSEAL_TO_SHOP
#undef CALSEAL_TO_CUSTOMER
};

Reader the_reader = Reader::kShop;

}  // namespace

void speak_to(Reader reader) { the_reader = reader; }

Reader spoken_to() { return the_reader; }

std::string told_to(Reader reader, std::string text) {
  for (const Advice& advice : kAdvice) {
    if (advice.reader != reader) continue;
    const std::size_t at = text.find(advice.raised);
    if (at != std::string::npos) return text.replace(at, advice.raised.size(), advice.told);
  }
  return text;
}

Error told_to(Reader reader, Error error) {
  error.next = told_to(reader, std::move(error.next));
  return error;
}

}  // namespace calseal
