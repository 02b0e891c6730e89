#include "calseal/report/html/ground.h"

#include <algorithm>
#include <array>

#include "calseal/report/html/parts.h"

namespace calseal {
namespace {

std::string_view meaning_of(SpanKind kind) {
  switch (kind) {
    case SpanKind::kLocked:
      return "must stay as it was";
    case SpanKind::kEditable:
      return "a revision may change it";
    case SpanKind::kDerived:
      return "follows from other bytes: checksums and copies";
    case SpanKind::kFloating:
      return "the same, from bytes that the vehicle changes";
    case SpanKind::kVolatile:
      return "belongs to the vehicle, never written";
    case SpanKind::kBinding:
      return "tells this vehicle from others";
  }
  return "";
}

bool shows(const PictureGround& ground, SpanKind kind) {
  return std::ranges::any_of(ground.pieces, [&](const std::vector<PicturePiece>& pieces) {
    return std::ranges::any_of(pieces, [&](const PicturePiece& piece) { return piece.kind == kind; });
  });
}

bool lacks_bytes(const PictureGround& ground) {
  return std::ranges::any_of(ground.pieces, [](const std::vector<PicturePiece>& pieces) {
    return !std::ranges::all_of(pieces, &PicturePiece::known);
  });
}

Html pin_shape(Pin pin) {
  switch (pin) {
    case Pin::kChanged:
      return element("path.pin", {{"d", "M6.5 3 H15.5 L11 12 Z"}});
    case Pin::kCorrected:
      return element("path.pin.derived", {{"d", "M7 3.5 H15 L11 11.5 Z"}});
    case Pin::kRefused:
      return element("path.pin.refused", {{"d", "M7 3 L15 11 M15 3 L7 11"}});
  }
  return {};
}

}  // namespace

PictureGround ground_of(const Plan& plan, const Image& image) {
  PictureGround ground{plan.map, std::vector<std::vector<PicturePiece>>(plan.map->memories.size()),
                       "calseal compare --json"};
  for (const Span& span : plan.spans(image))
    ground.pieces[span.place.memory].push_back({span.place.range, span.kind, span.known});
  return ground;
}

PictureGround declared_ground(const Plan& plan) {
  PictureGround ground{plan.map, {}, "calseal regions show --json"};
  for (const KindSets& kinds : plan.kinds) {
    std::vector<PicturePiece>& pieces = ground.pieces.emplace_back();
    for (std::size_t kind = 0; kind < kinds.size(); ++kind) {
      for (const Range& range : kinds[kind].ranges())
        pieces.push_back({range, static_cast<SpanKind>(kind), true});
    }
    std::ranges::sort(pieces, {}, [](const PicturePiece& piece) { return piece.range.begin; });
  }
  return ground;
}

std::vector<PicturePiece> pieces_in(const PictureGround& ground, std::size_t memory, const Range& range) {
  std::vector<PicturePiece> pieces;
  for (PicturePiece piece : ground.pieces[memory]) {
    if (!piece.range.overlaps(range)) continue;
    piece.range = intersect(piece.range, range);
    pieces.push_back(piece);
  }
  return pieces;
}

MemoryPicture memory_on(const PictureGround& ground, std::size_t memory) {
  MemoryPicture picture;
  picture.extent = ground.map->memories[memory].extent;
  picture.pieces = ground.pieces[memory];
  for (const Region& region : ground.map->regions) {
    if (region.place.memory == memory) picture.boxes.push_back({region.place.range, region.name, false});
  }
  return picture;
}

Html pin_legend(Pin pin, std::string_view word, std::string_view meaning) {
  const Html swatch = element(
      "svg.swatch", {{"width", "22"}, {"height", "14"}, {"aria-hidden", "true"}, {"focusable", "false"}},
      pin_shape(pin));
  return element("li", element("span.key", swatch, " ", word), element("span.quiet", meaning));
}

Html kinds_legend(const PictureGround& ground, const Html& more) {
  constexpr std::array kKinds = {SpanKind::kEditable, SpanKind::kLocked,   SpanKind::kDerived,
                                 SpanKind::kFloating, SpanKind::kVolatile, SpanKind::kBinding};
  Html rows;
  for (const SpanKind kind : kKinds) {
    if (shows(ground, kind)) rows += element("li", kind_key(kind), element("span.quiet", meaning_of(kind)));
  }
  if (lacks_bytes(ground)) rows += element("li", unknown_key(), element("span.quiet", "nobody has read it"));
  return element("ul.legend", rows + more);
}

}  // namespace calseal
