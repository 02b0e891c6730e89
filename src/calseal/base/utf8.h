// UTF-8 (RFC 3629), one character at a time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

namespace calseal {

// Length in bytes, 1 to 4, of the well-formed sequence that begins at `at`, which is below text.size(); its
// code point goes to `point`. 0 where no well-formed sequence begins there (surrogates and overlong forms
// included); `point` is then of no meaning.
std::size_t utf8_length(std::string_view text, std::size_t at, std::uint32_t& point);

}  // namespace calseal
