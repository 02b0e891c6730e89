// Linear equations over GF(2), dense and small: the algebra behind forced CRCs and joint checksums.
#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace calseal {

// A vector of bits; the size is set by the system that it belongs to.
class BitVector {
 public:
  explicit BitVector(std::size_t bits = 0) : words_((bits + 63) / 64), bits_(bits) {}
  std::size_t size() const { return bits_; }
  bool get(std::size_t i) const { return ((words_[i / 64] >> (i % 64)) & 1U) != 0; }
  void set(std::size_t i, bool value) {
    const std::uint64_t mask = std::uint64_t{1} << (i % 64);
    words_[i / 64] = value ? words_[i / 64] | mask : words_[i / 64] & ~mask;
  }
  // Position of the first bit that is 1, or size() when none is.
  std::size_t first_set() const {
    for (std::size_t i = 0; i < words_.size(); ++i) {
      if (words_[i] != 0) return i * 64 + static_cast<std::size_t>(std::countr_zero(words_[i]));
    }
    return bits_;
  }
  BitVector& operator^=(const BitVector& other) {
    for (std::size_t i = 0; i < words_.size(); ++i) words_[i] ^= other.words_[i];
    return *this;
  }
  friend bool operator==(const BitVector&, const BitVector&) = default;

 private:
  std::vector<std::uint64_t> words_;
  std::size_t bits_;
};

// The low `width` bits of a value, at most 64; the lowest is bit 0.
BitVector bits_of(std::uint64_t value, int width);

struct Gf2Solution {
  BitVector values;     // one bit per unknown; free unknowns are 0
  bool unique = false;  // no unknown was free
};

// The equations sum over j of columns[j] * x[j] = target, made ready for any number of targets.
class Gf2System {
 public:
  Gf2System() = default;  // no unknown, no equation
  // Every column has one bit per equation. O(columns * rank * equations / 64); stops reading columns once
  // every target can be reached.
  Gf2System(const std::vector<BitVector>& columns, std::size_t equations);

  std::size_t rank() const { return basis_.size(); }
  std::size_t unknowns() const { return unknowns_; }
  std::size_t equations() const { return equations_; }
  // `target` has one bit per equation; nothing when there is no solution. Unknowns are taken from the first
  // on, so later ones stay 0 where there is choice. O(rank * equations / 64).
  std::optional<Gf2Solution> solve(const BitVector& target) const;

 private:
  // A sum of columns whose first set bit, `pivot`, no later member of the basis has.
  struct BasisVector {
    BitVector vector;
    BitVector members;  // which basis columns were added up, by their position in the basis
    std::size_t pivot;
    std::size_t unknown;
  };
  void reduce(BitVector& vector, BitVector& members) const;

  std::vector<BasisVector> basis_;
  std::size_t unknowns_ = 0;
  std::size_t equations_ = 0;
};

// One target alone.
std::optional<Gf2Solution> solve_gf2(const std::vector<BitVector>& columns, const BitVector& target);

}  // namespace calseal
