#include "calseal/map/likely_fault.h"

#include <algorithm>
#include <sstream>
#include <vector>

#include "calseal/base/text.h"

namespace calseal {
namespace {

std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  std::istringstream stream(text);
  for (std::string word; stream >> word;) words.push_back(word);
  return words;
}

Bytes reversed(Bytes bytes) {
  std::ranges::reverse(bytes);
  return bytes;
}

Bytes complement(Bytes bytes) {
  for (std::uint8_t& byte : bytes) byte = static_cast<std::uint8_t>(~byte);
  return bytes;
}

}  // namespace

std::string likely_fault(const CheckOutcome& outcome) {
  if (outcome.state != CheckState::kFails || outcome.is_copy) return {};
  const std::vector<std::string> stored = words_of(outcome.stored), computed = words_of(outcome.computed);
  for (std::size_t i = 0; i < stored.size() && i < computed.size(); ++i) {
    const auto is = from_hex(stored[i]), right = from_hex(computed[i]);
    if (!is || !right || *is == *right) continue;
    if (!outcome.is_rule && *is == reversed(*right)) return "byte order?";
    if (*is == complement(*right)) return "complement?";
    if (!outcome.is_rule && *is == reversed(complement(*right))) return "byte order and complement?";
    return {};
  }
  return {};
}

}  // namespace calseal
