// The common case of parse_json(), in one pass over the text and without a library.
#pragma once

#include <optional>
#include <string_view>

#include "calseal/base/json.h"

namespace calseal {

// The tree of a UTF-8 text that holds nothing unusual: an object or array at the top, no \u escape, nothing
// that parse_json() refuses. Nothing otherwise, which says only that the library has to look: it alone
// refuses.
std::optional<JsonValue> parse_plain_json(std::string_view text);

// Where the first byte from `at` on stands that a canonical string cannot hold raw: below 0x20, a quote or a
// backslash; `end` when there is none.
const char* find_escaped(const char* at, const char* end);

}  // namespace calseal
