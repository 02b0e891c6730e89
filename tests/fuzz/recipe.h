// A fuzz input read as a recipe: records of six bytes, each one thing to bend. A mutation of one record
// leaves the others alone, and every input means something.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/base/bytes.h"

namespace calseal {

struct Bend {
  std::uint8_t what = 0;
  std::uint8_t how = 0;
  std::uint16_t where = 0;
  std::uint16_t value = 0;
};

inline constexpr std::size_t kBendLimit = 12;

struct Recipe {
  std::uint8_t first = 0;   // which of the prepared things
  std::uint8_t second = 0;  // and how it is used
  std::vector<Bend> bends;

  Recipe(const std::uint8_t* data, std::size_t size) {
    const auto byte = [&](std::size_t at) { return at < size ? data[at] : std::uint8_t{0}; };
    const auto word = [&](std::size_t at) {
      return static_cast<std::uint16_t>(byte(at) | static_cast<unsigned>(byte(at + 1)) << 8U);
    };
    first = byte(0);
    second = byte(1);
    for (std::size_t at = 2; at < size && bends.size() < kBendLimit; at += 6)
      bends.push_back({byte(at), byte(at + 1), word(at + 2), word(at + 4)});
  }

  // Those of one kind, in their order; `What` counts the kinds and ends with kCount.
  template <typename What>
  std::vector<Bend> of(What what) const {
    std::vector<Bend> out;
    for (const Bend& bend : bends) {
      if (bend.what % static_cast<std::uint8_t>(What::kCount) == static_cast<std::uint8_t>(what))
        out.push_back(bend);
    }
    return out;
  }
};

}  // namespace calseal
