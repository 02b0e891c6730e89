// Which of many agreements are no chance: minimum description length.
#pragma once

#include <vector>

#include "calseal/study/checksum_search.h"
#include "calseal/study/edges.h"
#include "calseal/study/window_prices.h"

namespace calseal {

// What the selection looks at.
struct Agreements {
  const ChecksumSearch* search = nullptr;
  const Edges* edges = nullptr;
  Grid grid;
  WindowPrices* prices = nullptr;
  std::vector<Hit> hits;  // `evidence` filled in, as high as it can be
  std::vector<TableFound> tables;
};

// Takes what is worth most bits, again and again: each find makes its algorithm, its layout and its edges
// cheaper to name for the next. Where no single one suffices, several of one algorithm and layout may
// together.
void select_candidates(Agreements agreements, SearchOutcome& outcome);

// By slot, or where there is none by coverage.
void sort_by_place(std::vector<Candidate>& found);

}  // namespace calseal
