// A measure of every block of a memory as a curve under its strip: what lies high or low, and where.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/report/html/markup.h"

namespace calseal {

inline constexpr std::size_t kMostColumns = 240;  // of one picture, however large the memory

// One column of the picture: what its blocks have. Nothing where no block is known whole.
struct BlockColumn {
  double least = 0, mean = 0, most = 0;
};

struct BlockPicture {
  std::vector<std::optional<BlockColumn>> columns;
  double top = 8;      // of the scale, which begins at 0
  std::string spoken;  // the picture in words
};
Html block_picture(const BlockPicture& picture);

// Entropy in bits per byte, block by block; several blocks of a large memory share a column.
struct EntropyColumns {
  std::uint64_t block = 1024;  // bytes
  std::vector<std::optional<BlockColumn>> columns;
};
EntropyColumns entropy_columns(const Memory& memory);

}  // namespace calseal
