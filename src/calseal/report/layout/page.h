// How reports lay out text: width, signs, aligned columns, emphasis. No frames: alignment and blank lines
// carry the structure.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace calseal {

// What a piece of a report says to the eye; its words say the same without colour.
enum class Mark : std::uint8_t { kPlain, kGood, kBad, kCaution, kDim };

// Where a report goes.
struct Page {
  bool utf8 = false;        // else signs are ASCII; free text of files stays as it is
  std::size_t width = 100;  // columns, at least kPageWidthLeast
  std::function<std::string(Mark, std::string_view)> paint;  // nothing: no emphasis

  std::string painted(Mark mark, std::string_view text) const {
    return paint ? paint(mark, text) : std::string(text);
  }
};

inline constexpr std::size_t kPageWidthLeast = 48;

// Columns that a text takes: code points, which is right for the scripts that our signs and names use.
std::size_t display_width(std::string_view text);

// Lines of at most `width` columns, broken at spaces; a longer word stays whole. At least one line.
std::vector<std::string> wrap_words(std::string_view text, std::size_t width);

// "  label       text", the text wrapped under itself. One line or several, each with its line end.
std::string labelled(const Page& page, std::string_view label, std::string_view text,
                     Mark mark = Mark::kPlain);

// "1 range", "12 ranges", with digits grouped.
std::string counted(std::uint64_t count, std::string_view one, std::string_view many);

// Hundredths of a percent as "12.34 %".
std::string share_of_image(std::uint64_t hundredths);

struct Cell {
  std::string text;
  Mark mark = Mark::kPlain;
  bool right = false;  // aligned to the right
};

// Rows of aligned columns, two blanks apart; the last column wraps under itself when the page is too narrow.
class Columns {
 public:
  void add(std::vector<Cell> row) { rows_.push_back(std::move(row)); }
  bool empty() const { return rows_.empty(); }
  std::string text(const Page& page, std::size_t indent) const;

 private:
  std::vector<std::vector<Cell>> rows_;
};

}  // namespace calseal
