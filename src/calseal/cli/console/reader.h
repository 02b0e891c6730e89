// Whom a program speaks to: the same error may reach the shop, who can mend its cause, and the customer, who
// can only ask. What each is told stands in advice.inc.
#pragma once

#include <cstdint>
#include <string>

#include "calseal/base/result.h"

namespace calseal {

enum class Reader : std::uint8_t { kShop, kCustomer };

// Said once by a program, before anything else; calseal does not, and speaks to the shop.
void speak_to(Reader reader);
Reader spoken_to();

// The text with what is for the other reader replaced; a text of neither stays as it is.
std::string told_to(Reader reader, std::string text);
// The same for what to do next.
Error told_to(Reader reader, Error error);

}  // namespace calseal
