#include "calseal/digest/gf2.h"

#include <cassert>

namespace calseal {
namespace {

// A sum of columns whose first set bit, `pivot`, no other member of the basis shares.
struct BasisVector {
  BitVector vector;
  BitVector members;  // which basis columns were added up, by their position in the basis
  std::size_t pivot;
  std::size_t unknown;
};

// Clears the pivots of the basis in `vector` and notes in `members` what was added for that.
void reduce(const std::vector<BasisVector>& basis, BitVector& vector, BitVector& members) {
  for (const BasisVector& b : basis) {
    if (!vector.get(b.pivot)) continue;
    vector ^= b.vector;
    members ^= b.members;
  }
}

}  // namespace

BitVector bits_of(std::uint64_t value, int width) {
  BitVector bits(static_cast<std::size_t>(width));
  for (std::size_t i = 0; i < bits.size(); ++i) bits.set(i, ((value >> i) & 1U) != 0);
  return bits;
}

std::optional<Gf2Solution> solve_gf2(const std::vector<BitVector>& columns, const BitVector& target) {
  const std::size_t equations = target.size();
  std::vector<BasisVector> basis;
  for (std::size_t j = 0; j < columns.size() && basis.size() < equations; ++j) {
    assert(columns[j].size() == equations);
    BasisVector next{columns[j], BitVector(equations), 0, j};
    reduce(basis, next.vector, next.members);
    next.pivot = next.vector.first_set();
    if (next.pivot == equations) continue;  // depends on earlier unknowns, so it stays 0
    next.members.set(basis.size(), true);
    basis.push_back(std::move(next));
  }
  BitVector rest = target;
  BitVector members(equations);
  reduce(basis, rest, members);
  if (rest.first_set() != equations) return std::nullopt;
  Gf2Solution solution{BitVector(columns.size()), basis.size() == columns.size()};
  for (std::size_t i = 0; i < basis.size(); ++i) {
    if (members.get(i)) solution.values.set(basis[i].unknown, true);
  }
  return solution;
}

}  // namespace calseal
