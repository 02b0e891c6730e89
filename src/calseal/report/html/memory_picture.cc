#include "calseal/report/html/memory_picture.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "calseal/base/text.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/html/patterns.h"

namespace calseal {
namespace {

// Shares of the extent, in thousandths.
constexpr double kSmallest = 2.5;   // a piece below this is a stroke
constexpr double kPinGap = 14;      // pins stand no closer
constexpr double kFlagGap = 34;     // letters closer than this share one flag
constexpr double kLineFrom = 4;     // a box below this has no edges of its own
constexpr double kLetterWidth = 9;  // of a name in a strip of usual width

// Pixels from the top.
constexpr int kFlagBase = 13;
constexpr int kPinTop = 18;
constexpr int kBand = 27;
constexpr int kBandEnd = 59;
constexpr int kStrokeEnd = 66;
constexpr int kBoxEnd = 88;

class Strip {
 public:
  explicit Strip(const MemoryPicture& picture)
      : picture_(picture),
        begin_(static_cast<double>(picture.extent.begin)),
        scale_(1000 / static_cast<double>(std::max<std::uint64_t>(picture.extent.size(), 1))) {}

  Html html() {
    const std::vector<PictureBox>& below = picture_.boxes_apart ? picture_.boxes : picture_.lane;
    const bool lane = !below.empty();
    Html drawn = band(Fill::kLocked, picture_.extent);
    drawn += pieces();
    drawn += edges();
    drawn += element("rect.frame", {{"x", "0"},
                                    {"y", std::to_string(kBand)},
                                    {"width", "100%"},
                                    {"height", std::to_string(kBandEnd - kBand)}});
    drawn += marks();
    drawn += names();
    if (lane) drawn += boxes(below);
    drawn += flags();
    // Without letters, or without anything above the strip, there is less to leave room for.
    const int unused = !picture_.flags.empty() ? 0 : !picture_.marks.empty() ? kPinTop - 2 : kBand - 2;
    const int height = (lane ? kBoxEnd : kStrokeEnd) + 2 - unused;
    return element("svg.strip",
                   {{"role", "img"},
                    {"aria-label", picture_.spoken},
                    {"width", "100%"},
                    {"height", std::to_string(height)}},
                   element("svg", {{"y", std::to_string(-unused)}, {"overflow", "visible"}}, drawn));
  }

 private:
  double at(std::uint64_t address) const { return (static_cast<double>(address) - begin_) * scale_; }
  double width(const Range& range) const { return static_cast<double>(range.size()) * scale_; }

  Html band(Fill fill, const Range& range) const {
    return element("rect", {{"x", share_text(at(range.begin))},
                            {"y", std::to_string(kBand)},
                            {"width", share_text(width(range))},
                            {"height", std::to_string(kBandEnd - kBand)},
                            {"fill", std::string(fill_reference(fill))}});
  }

  Html stroke(MarkupName name, double x, int from, int to) const {
    return element(name, {{"x1", share_text(x)},
                          {"x2", share_text(x)},
                          {"y1", std::to_string(from)},
                          {"y2", std::to_string(to)}});
  }

  // Neighbours of one look as one piece.
  std::vector<PicturePiece> joined() const {
    std::vector<PicturePiece> out;
    for (const PicturePiece& piece : picture_.pieces) {
      if (!out.empty() && out.back().range.end == piece.range.begin && out.back().kind == piece.kind &&
          out.back().known == piece.known)
        out.back().range.end = piece.range.end;
      else
        out.push_back(piece);
    }
    return out;
  }

  Html pieces() const {
    Html large, small;
    std::array<int, 8> last;
    last.fill(-1000);
    for (const PicturePiece& piece : joined()) {
      const Fill fill = piece.known ? fill_of(piece.kind) : Fill::kUnknown;
      if (width(piece.range) >= kSmallest) {
        large += band(fill, piece.range);
      } else if (fill != Fill::kLocked) {
        const double x = at(piece.range.begin) + width(piece.range) / 2;
        const int cell = static_cast<int>(x / 2);
        int& before = last[static_cast<std::size_t>(fill)];
        if (cell == before) continue;
        before = cell;
        small += stroke("line.small", x, kBandEnd, kStrokeEnd);
      }
    }
    return large + small;
  }

  Html edges() const {
    Html out;
    if (picture_.boxes_apart) return out;
    for (const PictureBox& box : picture_.boxes) {
      if (width(box.range) < kLineFrom) continue;
      if (box.range.begin > picture_.extent.begin)
        out += stroke("line.edge", at(box.range.begin), kBand, kBandEnd);
      if (box.range.end < picture_.extent.end) out += stroke("line.edge", at(box.range.end), kBand, kBandEnd);
    }
    return out;
  }

  Html marks() const {
    Html wide, strokes, pins;
    int last = -1000;
    std::array<double, 3> last_pins;  // by look
    last_pins.fill(-1000);
    for (const PictureMark& mark : picture_.marks) {
      const double x = at(mark.range.begin);
      const double size = width(mark.range);
      const double middle = x + size / 2;
      if (size >= kSmallest) {
        wide += element("rect.changed", {{"x", share_text(x)},
                                         {"y", std::to_string(kBand)},
                                         {"width", share_text(size)},
                                         {"height", std::to_string(kBandEnd - kBand)}});
      } else if (const int cell = static_cast<int>(middle / 2); cell != last) {
        last = cell;
        strokes += mark.derived ? stroke("line.changed.derived", middle, kBand, kBandEnd)
                                : stroke("line.changed", middle, kBand, kBandEnd);
      }
      double& pin = last_pins[mark.refused ? 2 : mark.derived ? 1 : 0];
      if (middle - pin < kPinGap) continue;
      pin = middle;
      pins += pin_at(middle, mark);
    }
    return wide + strokes + pins;
  }

  static Html pin_at(double middle, const PictureMark& mark) {
    const Html shape = mark.refused   ? element("path.pin.refused", {{"d", "M-4 0 L4 8 M4 0 L-4 8"}})
                       : mark.derived ? element("path.pin.derived", {{"d", "M-3.5 .5 H3.5 L0 7.5 Z"}})
                                      : element("path.pin", {{"d", "M-4.5 0 H4.5 L0 9 Z"}});
    return element(
        "svg", {{"x", share_text(middle)}, {"y", std::to_string(kPinTop)}, {"overflow", "visible"}}, shape);
  }

  // Names where they surely fit and no change is under them; a narrow window leaves them out.
  Html names() const {
    Html out;
    if (picture_.boxes_apart) return out;
    auto mark = picture_.marks.begin();
    for (const PictureBox& box : picture_.boxes) {
      const double room = kLetterWidth * static_cast<double>(box.name.size() + 2);
      if (width(box.range) < room) continue;
      while (mark != picture_.marks.end() && mark->range.end <= box.range.begin) ++mark;
      if (mark != picture_.marks.end() && at(mark->range.begin) < at(box.range.begin) + room) continue;
      out += element("text.name",
                     {{"x", share_text(at(box.range.begin))},
                      {"dx", "8"},
                      {"y", std::to_string((kBand + kBandEnd) / 2 + 4)}},
                     box.name);
    }
    return out;
  }

  Html boxes(const std::vector<PictureBox>& below) const {
    Html out;
    int last = -1000, last_changed = -1000;
    for (const PictureBox& box : below) {
      const double x = at(box.range.begin);
      const double size = width(box.range);
      if (const int cell = static_cast<int>(x / 2); size < kLineFrom) {
        int& before = box.changed ? last_changed : last;
        if (cell == before) continue;
        before = cell;
        out += box.changed ? stroke("line.item.changed", x + size / 2, kStrokeEnd, kBoxEnd)
                           : stroke("line.item", x + size / 2, kStrokeEnd, kBoxEnd);
        continue;
      }
      const Attributes place = {{"x", share_text(x)},
                                {"y", std::to_string(kStrokeEnd)},
                                {"width", share_text(size)},
                                {"height", std::to_string(kBoxEnd - kStrokeEnd)}};
      out += box.changed ? element("rect.item.changed", place) : element("rect.item", place);
      if (size < kLetterWidth * static_cast<double>(box.name.size() + 2)) continue;
      out += element("text.name",
                     {{"x", share_text(x + size / 2)},
                      {"y", std::to_string((kStrokeEnd + kBoxEnd) / 2 + 4)},
                      {"text-anchor", "middle"}},
                     box.name);
    }
    return out;
  }

  Html flags() const {
    Html out;
    for (std::size_t i = 0; i < picture_.flags.size();) {
      std::size_t end = i + 1;
      // Two letters and what is between them take more room than one.
      while (end < picture_.flags.size() && at(picture_.flags[end].at) - at(picture_.flags[end - 1].at) <
                                                (end - i == 1 ? kFlagGap : 2 * kFlagGap))
        ++end;
      const std::string text =
          picture_.flags[i].letter + (end - i == 1   ? ""
                                      : end - i == 2 ? "," + picture_.flags[end - 1].letter
                                                     : "–" + picture_.flags[end - 1].letter);
      const double x = (at(picture_.flags[i].at) + at(picture_.flags[end - 1].at)) / 2;
      out += element("text.flag",
                     {{"x", share_text(x)},
                      {"y", std::to_string(kFlagBase)},
                      {"text-anchor", x < 20    ? "start"
                                      : x > 980 ? "end"
                                                : "middle"}},
                     text);
      i = end;
    }
    return out;
  }

  const MemoryPicture& picture_;
  double begin_, scale_;
};

}  // namespace

std::string share_text(double thousandths) {
  const auto scaled = static_cast<std::uint64_t>(std::llround(std::clamp(thousandths, 0.0, 1000.0) * 1000));
  std::string text = std::to_string(scaled / 10000);
  std::string rest = std::to_string(scaled % 10000);
  rest.insert(0, 4 - rest.size(), '0');
  while (!rest.empty() && rest.back() == '0') rest.pop_back();
  return text + (rest.empty() ? "" : "." + rest) + "%";
}

std::string place_letter(std::size_t index) {
  const std::string letter(1, static_cast<char>('A' + index % 26));
  return index < 26 ? letter : letter + std::to_string(index / 26 + 1);
}

Html memory_picture(const MemoryPicture& picture) {
  const Html scale =
      element("p.scale", {{"aria-hidden", "true"}}, element("span", address_text(picture.extent.begin)),
              element("span", size_words(picture.extent.size())),
              element("span", address_text(picture.extent.end - 1)));
  return element("div.memory", Strip(picture).html(), scale);
}

}  // namespace calseal
