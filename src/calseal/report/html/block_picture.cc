#include "calseal/report/html/block_picture.h"

#include <algorithm>
#include <cmath>

#include "calseal/image/entropy.h"

namespace calseal {
namespace {

constexpr int kBlocksHeight = 64;            // pixels
constexpr std::uint64_t kUsualBlock = 1024;  // bytes
constexpr std::uint64_t kSmallBlock = 256;   // of a small memory
constexpr std::uint64_t kSmallMemory = 16 * kUsualBlock;

// Half pixels, so that a page stays small.
std::string drop(double value, double top) {
  const double down = (1 - std::clamp(value / top, 0.0, 1.0)) * kBlocksHeight;
  const auto halves = static_cast<std::uint64_t>(std::llround(down * 2));
  return std::to_string(halves / 2) + (halves % 2 == 1 ? ".5" : "");
}

// Stretches of columns without a gap.
std::vector<Range> stretches(const BlockPicture& picture) {
  std::vector<Range> out;
  for (std::size_t i = 0; i < picture.columns.size(); ++i) {
    if (!picture.columns[i]) continue;
    if (!out.empty() && out.back().end == i)
      out.back().end = i + 1;
    else
      out.push_back({i, i + 1});
  }
  return out;
}

// Steps along the top of one stretch, then back along its bottom.
std::string outline(const BlockPicture& picture, const Range& stretch) {
  std::string path;
  for (auto i = static_cast<std::size_t>(stretch.begin); i < stretch.end; ++i)
    path += (path.empty() ? "M" : "L") + std::to_string(i) + " " +
            drop(picture.columns[i]->most, picture.top) + "H" + std::to_string(i + 1);
  for (auto i = static_cast<std::size_t>(stretch.end); i > stretch.begin; --i)
    path += "L" + std::to_string(i) + " " + drop(picture.columns[i - 1]->least, picture.top) + "H" +
            std::to_string(i - 1);
  return path + "Z";
}

std::string means(const BlockPicture& picture, const Range& stretch) {
  std::string path;
  for (auto i = static_cast<std::size_t>(stretch.begin); i < stretch.end; ++i)
    path += (path.empty() ? "M" : "L") + std::to_string(i) + " " +
            drop(picture.columns[i]->mean, picture.top) + "H" + std::to_string(i + 1);
  return path;
}

}  // namespace

Html block_picture(const BlockPicture& picture) {
  if (picture.columns.empty()) return {};
  const std::string width = std::to_string(picture.columns.size());
  Html drawn;
  for (int quarter = 1; quarter < 4; ++quarter)
    drawn += element("path.grid", {{"d", "M0 " + std::to_string(kBlocksHeight * quarter / 4) + "H" + width}});
  std::string bands, lines;
  for (const Range& stretch : stretches(picture)) {
    bands += outline(picture, stretch);
    lines += means(picture, stretch);
  }
  drawn += element("path.band", {{"d", bands}}) + element("path.mean", {{"d", lines}});
  return element("svg.blocks",
                 {{"role", "img"},
                  {"aria-label", picture.spoken},
                  {"width", "100%"},
                  {"height", std::to_string(kBlocksHeight)},
                  {"viewBox", "0 0 " + width + " " + std::to_string(kBlocksHeight)},
                  {"preserveAspectRatio", "none"}},
                 drawn);
}

EntropyColumns entropy_columns(const Memory& memory) {
  EntropyColumns out;
  out.block = memory.extent.size() < kSmallMemory ? kSmallBlock : kUsualBlock;
  const std::uint64_t blocks = (memory.extent.size() + out.block - 1) / out.block;
  const std::uint64_t columns = std::min<std::uint64_t>(blocks, kMostColumns);
  for (std::uint64_t c = 0; c < columns; ++c) {
    std::optional<BlockColumn> column;
    std::uint64_t count = 0;
    for (std::uint64_t b = blocks * c / columns; b < blocks * (c + 1) / columns; ++b) {
      const std::uint64_t begin = memory.extent.begin + b * out.block;
      const Range range{begin, std::min(begin + out.block, memory.extent.end)};
      if (!memory.knows(range)) continue;
      const double bits = entropy(memory.view(range));
      if (!column) column = BlockColumn{bits, 0, bits};
      column->least = std::min(column->least, bits);
      column->most = std::max(column->most, bits);
      column->mean += bits;
      ++count;
    }
    if (column) column->mean /= static_cast<double>(count);
    out.columns.push_back(column);
  }
  return out;
}

}  // namespace calseal
