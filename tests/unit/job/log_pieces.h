// A text as a file that comes in pieces.
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/file.h"

namespace calseal {

inline Pieces in_pieces(std::string_view text, std::size_t size = 1 << 16) {
  return [text = std::string(text), size, at = std::size_t{0}]() mutable -> Result<ByteView> {
    const std::size_t begin = at;
    at += std::min(size, text.size() - at);
    return view_of(text).subspan(begin, at - begin);
  };
}

}  // namespace calseal
