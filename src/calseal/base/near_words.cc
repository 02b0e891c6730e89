#include "calseal/base/near_words.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::size_t kLongestWord = 64;  // bounds the work; nobody mistypes more
constexpr std::size_t kMostWords = 3;

}  // namespace

std::size_t edit_distance(std::string_view a, std::string_view b) {
  // Rows of the usual table: distances of the beginnings of `a`, one and two letters before, to those of `b`.
  std::vector<std::size_t> two_before(b.size() + 1), before(b.size() + 1), row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    two_before.swap(before);
    before.swap(row);
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = before[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
      row[j] = std::min({before[j] + 1, row[j - 1] + 1, replaced});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        row[j] = std::min(row[j], two_before[j - 2] + 1);
    }
  }
  return row[b.size()];
}

std::vector<std::string> near_words(std::string_view word, const std::vector<std::string>& known) {
  if (word.size() > kLongestWord) return {};
  std::size_t least = std::min<std::size_t>(word.size() / 3, 3);
  std::vector<std::string> near;
  for (const std::string& one : known) {
    if (one.size() > word.size() + least || word.size() > one.size() + least) continue;
    const std::size_t distance = edit_distance(word, one);
    if (distance > least) continue;
    if (distance < least) near.clear();
    least = distance;
    if (near.size() < kMostWords && std::find(near.begin(), near.end(), one) == near.end())
      near.push_back(one);
  }
  if (near.empty() && word.size() > 2) {
    for (const std::string& one : known)
      if (near.size() < kMostWords && one.find(word) != std::string::npos) near.push_back(one);
  }
  return near;
}

std::string did_you_mean(const std::vector<std::string>& words) {
  if (words.empty()) return "";
  std::string text;
  for (std::size_t i = 0; i < words.size(); ++i)
    text += (i == 0 ? "" : i + 1 < words.size() ? ", " : " or ") + ('"' + printable(words[i]) + '"');
  return "did you mean " + text + "?";
}

}  // namespace calseal
