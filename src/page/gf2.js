// Linear equations over GF(2), dense and small. A vector of bits is a BigInt.

// Position of the lowest bit that is 1, as the power of two that it stands for; 0n when none is.
const lowestBit = (vector) => vector & -vector;

// A basis of the columns taken so far. Each member has a pivot that later members do not share, and remembers which columns
// were added up for it.
class Basis {
  constructor() {
    this.members = [];
  }

  // Clears the pivots of the basis in `vector`; `columns` notes what was added for that.
  reduce(vector, columns) {
    for (const member of this.members) {
      if ((vector & member.pivot) === 0n) continue;
      vector ^= member.vector;
      columns ^= member.columns;
    }
    return { vector, columns };
  }

  // False when the column depends on those before it.
  add(column, index) {
    const { vector, columns } = this.reduce(column, 1n << BigInt(index));
    if (vector === 0n) return false;
    this.members.push({ vector, columns, pivot: lowestBit(vector) });
    return true;
  }
}

export function rankOf(columns) {
  const basis = new Basis();
  columns.forEach((column, index) => basis.add(column, index));
  return basis.members.length;
}

// Solves: the exclusive or of the columns that are chosen is `target`. Gives one bit for each column, or nothing. Columns are
// taken from the first on, so later ones are left out where there is choice.
export function solveGf2(columns, target) {
  const basis = new Basis();
  columns.forEach((column, index) => basis.add(column, index));
  const { vector, columns: chosen } = basis.reduce(target, 0n);
  return vector === 0n ? chosen : undefined;
}
