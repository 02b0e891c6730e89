#include "calseal/report/layout/strip.h"

#include <algorithm>
#include <span>
#include <utility>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/report/layout/signs.h"

namespace calseal {
namespace {

constexpr std::size_t kMostSigns = 64;

struct Layer {
  std::string_view sign;
  const RangeSet* bytes;
};

std::vector<Layer> layers_of(const StripView& view, const Page& page) {
  std::vector<Layer> layers;
  for (std::size_t i = 0; i < kStripKinds.size(); ++i)
    layers.push_back({kind_sign(page, kStripKinds[i]), &view.kinds[i]});
  layers.push_back({unknown_sign(page), &view.unknown});
  layers.push_back({" ", &view.absent});
  return layers;
}

// What takes most of the share among `layers`, and how many bytes that is.
std::pair<const Layer*, std::uint64_t> largest(std::span<const Layer> layers, Range share) {
  std::pair<const Layer*, std::uint64_t> most{&layers.front(), 0};
  for (const Layer& layer : layers) {
    const std::uint64_t bytes = layer.bytes->within(share).size();
    if (bytes > most.second) most = {&layer, bytes};
  }
  return most;
}

// Most of an image is locked; what is not would drown in it by mere majority.
std::string_view sign_of_share(const std::vector<Layer>& layers, Range share) {
  constexpr std::uint64_t kLeastShare = 16;  // a sixteenth
  const std::span all(layers);
  const auto [open, open_bytes] = largest(all.subspan(1, kStripKinds.size() - 1), share);
  if (open_bytes * kLeastShare >= share.size() && open_bytes != 0) return open->sign;
  const auto [unknown, unknown_bytes] = largest(all.subspan(kStripKinds.size()), share);
  return unknown_bytes > layers.front().bytes->within(share).size() ? unknown->sign : layers.front().sign;
}

}  // namespace

std::string strip_text(const StripView& view, const Page& page) {
  const Range extent = view.extent;
  const std::size_t room = std::max<std::size_t>(page.width, kPageWidthLeast) - 4;
  const auto signs = std::min<std::uint64_t>(std::min(room, kMostSigns), extent.size());
  const std::vector<Layer> layers = layers_of(view, page);
  std::string strip, marks;
  for (std::uint64_t i = 0; i < signs; ++i) {
    const Range share{extent.begin + extent.size() * i / signs,
                      extent.begin + extent.size() * (i + 1) / signs};
    strip += sign_of_share(layers, share);
    if (!view.changed.overlaps(share)) continue;
    marks.resize(static_cast<std::size_t>(i), ' ');
    marks += '!';  // one column, whatever it is drawn as
  }
  std::string drawn;
  for (const char mark : marks) drawn += mark == '!' ? std::string(change_sign(page)) : std::string(1, mark);
  const std::uint64_t each = (extent.size() + signs / 2) / signs;
  return "  " + view.name + "  " + range_text(extent) + "  " + counted(extent.size(), "byte", "bytes") +
         ", one sign for " + (extent.size() % signs == 0 ? "" : "about ") + grouped(each) + "\n" +
         (drawn.empty() ? "" : "    " + page.painted(Mark::kCaution, drawn) + "\n") + "    " + strip + "\n";
}

std::string strip_legend(const Page& page, StripMarks marks) {
  std::vector<std::string> keys;
  for (const SpanKind kind : kStripKinds)
    keys.push_back(std::string(kind_sign(page, kind)) + " " + std::string(span_kind_name(kind)));
  keys.push_back(std::string(unknown_sign(page)) + " unknown");
  if (marks == StripMarks::kChanges) keys.push_back(std::string(change_sign(page)) + " changed");
  std::string legend, row = "  signs";
  for (const std::string& key : keys) {
    if (display_width(row) + 2 + display_width(key) > std::max(page.width, kPageWidthLeast)) {
      legend += row + "\n";
      row = "       ";
    }
    row += "  " + key;
  }
  return legend + row + "\n";
}

}  // namespace calseal
