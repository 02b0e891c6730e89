// The checksum algorithms that a search tries, and what it costs to name each of them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/map/region_map.h"

namespace calseal {

struct SearchAlgorithm {
  Algorithm algorithm;    // a CRC or a sum, at most 64 bits
  std::string catalogue;  // name in the catalogue of CRCs; empty for a sum
  std::size_t size = 4;   // bytes of the slot that holds a whole value: 1, 2, 3, 4, 5 or 8
  int bits = 32;          // of a value
  double cost = 0;  // bits that it takes to name: common ones are cheaper. The sum of 2^-cost is below 1
  std::uint64_t unit = 1;  // bytes of a word; CRCs 1
  // A CRC of which polynomial and reflection alone are known: by differences of images, which say nothing of
  // init and xorout (both 0 here).
  bool by_difference = false;
};

// Every catalogue entry of at most 64 bits; sums of 8, 16, 32 and 64-bit words in both orders, kept in as
// many bits or more; exclusive or; one's complement sums of 16 and 32 bits. Which are common is common
// practice, no source. Behind them, with costs of their own: every polynomial of 16, 24, 32 and 64 bits in
// the catalogue, in each direction of feeding bits that occurs there, by difference.
const std::vector<SearchAlgorithm>& search_algorithms();

}  // namespace calseal
