// Words that a mistyped one may stand for.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace calseal {

// Letters to add, remove, replace, or exchange with their neighbour, to make one word of the other.
std::size_t edit_distance(std::string_view a, std::string_view b);

// The known words with the least distance to `word`, at most three. Where all are far
// from it, those that contain it.
std::vector<std::string> near_words(std::string_view word, const std::vector<std::string>& known);

// `did you mean "check" or "checksums"?`; empty for no words.
std::string did_you_mean(const std::vector<std::string>& words);

}  // namespace calseal
