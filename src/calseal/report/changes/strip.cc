#include "calseal/report/changes/strip.h"

#include <algorithm>
#include <array>
#include <span>

#include "calseal/base/text.h"
#include "calseal/map/segments.h"
#include "calseal/report/layout/signs.h"

namespace calseal {
namespace {

constexpr std::size_t kMostSigns = 64;

constexpr std::array kKinds = {SpanKind::kLocked,   SpanKind::kEditable, SpanKind::kDerived,
                               SpanKind::kFloating, SpanKind::kVolatile, SpanKind::kBinding};

struct Layer {
  std::string_view sign;
  RangeSet bytes;
};

// Sets that tile the memory, each with its sign: the kinds, locked first, then unknown and absent bytes.
std::vector<Layer> layers_of(const Plan& plan, std::size_t memory, const Image* image, const Page& page) {
  const MemoryDeclaration& declared = plan.map->memories[memory];
  RangeSet present = segments_of(declared);
  RangeSet absent(declared.extent);
  absent.remove(present);
  RangeSet unknown;
  if (image != nullptr) {
    unknown = present;
    unknown.remove(image->memories[memory].known);
    present = present.intersect(image->memories[memory].known);
  }
  std::vector<Layer> layers;
  for (const SpanKind kind : kKinds) {
    layers.push_back({kind_sign(page, kind), plan.bytes_of(memory, kind).intersect(present)});
  }
  layers.push_back({unknown_sign(page), std::move(unknown)});
  layers.push_back({" ", std::move(absent)});
  return layers;
}

// What takes most of the share among `layers`, and how many bytes that is.
std::pair<const Layer*, std::uint64_t> largest(std::span<const Layer> layers, Range share) {
  std::pair<const Layer*, std::uint64_t> most{&layers.front(), 0};
  for (const Layer& layer : layers) {
    const std::uint64_t bytes = layer.bytes.within(share).size();
    if (bytes > most.second) most = {&layer, bytes};
  }
  return most;
}

// Most of an image is locked; what is not would drown in it by mere majority.
std::string_view sign_of_share(const std::vector<Layer>& layers, Range share) {
  constexpr std::uint64_t kLeastShare = 16;  // a sixteenth
  const std::span all(layers);
  const auto [open, open_bytes] = largest(all.subspan(1, kKinds.size() - 1), share);
  if (open_bytes * kLeastShare >= share.size() && open_bytes != 0) return open->sign;
  const auto [unknown, unknown_bytes] = largest(all.subspan(kKinds.size()), share);
  return unknown_bytes > layers.front().bytes.within(share).size() ? unknown->sign : layers.front().sign;
}

}  // namespace

std::string memory_strip(const Plan& plan, std::size_t memory, const Image* image, const Page& page) {
  const MemoryDeclaration& declared = plan.map->memories[memory];
  const Range extent = declared.extent;
  const std::size_t room = std::max<std::size_t>(page.width, kPageWidthLeast) - 4;
  const auto signs = std::min<std::uint64_t>(std::min(room, kMostSigns), extent.size());
  const std::vector<Layer> layers = layers_of(plan, memory, image, page);
  std::string strip;
  for (std::uint64_t i = 0; i < signs; ++i) {
    const Range share{extent.begin + extent.size() * i / signs,
                      extent.begin + extent.size() * (i + 1) / signs};
    strip += sign_of_share(layers, share);
  }
  const std::uint64_t each = (extent.size() + signs / 2) / signs;
  return "  " + declared.name + "  " + range_text(extent) + "  " + counted(extent.size(), "byte", "bytes") +
         ", one sign for " + (extent.size() % signs == 0 ? "" : "about ") + grouped(each) + "\n    " + strip +
         "\n";
}

std::string strip_legend(const Page& page) {
  std::string legend = "  signs";
  for (const SpanKind kind : kKinds) {
    legend += "  " + std::string(kind_sign(page, kind)) + " " + std::string(span_kind_name(kind));
  }
  return legend + "  " + std::string(unknown_sign(page)) + " unknown\n";
}

Plan declared_plan(const RegionMap& map) {
  Plan plan;
  plan.map = &map;
  for (std::size_t i = 0; i < map.checksums.size(); ++i) {
    PlanNode node;
    node.index = i;
    node.name = map.checksums[i].name;
    for (const Slot& slot : map.checksums[i].slots) node.writes.push_back(slot.place);
    if (map.checksums[i].rule && map.checksums[i].rule->balance)
      node.writes.push_back(*map.checksums[i].rule->balance);
    plan.nodes.push_back(std::move(node));
  }
  for (std::size_t i = 0; i < map.copies.size(); ++i) {
    PlanNode node;
    node.is_copy = true;
    node.index = i;
    node.name = map.copies[i].name;
    node.writes.push_back(map.copies[i].to);
    plan.nodes.push_back(std::move(node));
  }
  return plan;
}

}  // namespace calseal
