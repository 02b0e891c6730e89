#include "calseal/digest/gf2.h"

#include <cassert>
#include <utility>

namespace calseal {

BitVector bits_of(std::uint64_t value, int width) {
  BitVector bits(static_cast<std::size_t>(width));
  for (std::size_t i = 0; i < bits.size(); ++i) bits.set(i, ((value >> i) & 1U) != 0);
  return bits;
}

// Clears the pivots of the basis in `vector` and notes in `members` what was added for that.
void Gf2System::reduce(BitVector& vector, BitVector& members) const {
  for (const BasisVector& b : basis_) {
    if (!vector.get(b.pivot)) continue;
    vector ^= b.vector;
    members ^= b.members;
  }
}

Gf2System::Gf2System(const std::vector<BitVector>& columns, std::size_t equations)
    : unknowns_(columns.size()), equations_(equations) {
  for (std::size_t j = 0; j < columns.size() && basis_.size() < equations; ++j) {
    assert(columns[j].size() == equations);
    BasisVector next{columns[j], BitVector(equations), 0, j};
    reduce(next.vector, next.members);
    next.pivot = next.vector.first_set();
    if (next.pivot == equations) continue;  // depends on earlier unknowns, so it stays 0
    next.members.set(basis_.size(), true);
    basis_.push_back(std::move(next));
  }
}

std::optional<Gf2Solution> Gf2System::solve(const BitVector& target) const {
  assert(target.size() == equations_);
  BitVector rest = target;
  BitVector members(equations_);
  reduce(rest, members);
  if (rest.first_set() != equations_) return std::nullopt;
  Gf2Solution solution{BitVector(unknowns_), rank() == unknowns_};
  for (std::size_t i = 0; i < basis_.size(); ++i) {
    if (members.get(i)) solution.values.set(basis_[i].unknown, true);
  }
  return solution;
}

std::optional<Gf2Solution> solve_gf2(const std::vector<BitVector>& columns, const BitVector& target) {
  return Gf2System(columns, target.size()).solve(target);
}

}  // namespace calseal
