// A region map drafted from images alone: checksums that were found, parts as they look, every guess marked.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/region_map.h"
#include "calseal/study/checksum_search.h"
#include "calseal/study/image_parts.h"

namespace calseal {

inline constexpr std::uint64_t kDraftImageLeast = 512;  // bytes
inline constexpr std::uint64_t kDraftImageMost = std::uint64_t{64} << 20;

struct DraftNames {
  std::string map = "draft";
  std::string controller = "engine";
  std::string memory = "flash";
  std::string author = "calseal regions draft";
  std::optional<std::uint64_t>
      origin;  // address of the image's first byte; nothing: as absolute tables say, else 0
};

struct MapDraft {
  SearchOutcome search;
  std::uint64_t origin = 0;
  std::vector<ImagePart> parts;
  std::vector<Repetition> repetitions;
  std::optional<std::uint64_t> mirror;  // the image repeats as a whole with this period
  RangeSet varying;                     // offsets; with several images
  std::vector<VinFound> vins;
  RegionMap map;  // of `text`: it parses and lints, and holds on every image
  Bytes text;
};

// All bytes are locked: what may be edited is for a person to say. kImageSize when the images are of
// different sizes, too small or too large; kUsage when the origin leaves no room for them, or a name is none.
// `search.origins` may name the origin too.
Result<MapDraft> draft_region_map(ChecksumSearch search, const DraftNames& names);

}  // namespace calseal
