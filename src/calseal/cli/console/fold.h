// Finished text made to fit a terminal: longer lines are broken at spaces and hang under their own beginning.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace calseal {

// A line "  label     value" hangs at `column`, where its value starts; "  - point" under its words; "error:
// ..." and the like behind the first word. Words that are longer than the line stay whole. Sequences that set
// colours take no room; other signs one column each.
std::string fold_lines(std::string_view text, std::size_t column, std::size_t width);

// Columns of the terminal that `descriptor` is; 0: it is none.
std::size_t terminal_columns(int descriptor);

}  // namespace calseal
