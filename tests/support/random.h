// Random inputs with a seed that is printed on failure and can be given back through CALSEAL_SEED.
#pragma once

#include <gtest/gtest.h>

#include <cstdlib>
#include <random>
#include <string>

#include "calseal/base/bytes.h"

namespace calseal {

// One per test. The seed is new on every run unless CALSEAL_SEED is set.
class Random {
 public:
  Random()
      : seed_(pick_seed()),
        engine_(seed_),
        trace_(__FILE__, __LINE__, "CALSEAL_SEED=" + std::to_string(seed_)) {}

  // Uniform in [least, most].
  std::uint64_t between(std::uint64_t least, std::uint64_t most) {
    return std::uniform_int_distribution<std::uint64_t>(least, most)(engine_);
  }
  bool coin() { return between(0, 1) == 1; }
  Bytes bytes(std::size_t count) {
    Bytes out(count);
    for (auto& byte : out) byte = static_cast<std::uint8_t>(engine_());
    return out;
  }
  std::uint64_t seed() const { return seed_; }

 private:
  static std::uint64_t pick_seed() {
    if (const char* text = std::getenv("CALSEAL_SEED")) return std::strtoull(text, nullptr, 10);
    return std::random_device{}();
  }
  std::uint64_t seed_;
  std::mt19937_64 engine_;
  ::testing::ScopedTrace trace_;
};

}  // namespace calseal
