// What pictures of a memory stand on: a region map and what decides over every byte, whether a manifest says
// it, an image or the map alone.
#pragma once

#include <string>
#include <vector>

#include "calseal/map/plan.h"
#include "calseal/report/html/memory_picture.h"

namespace calseal {

struct PictureGround {
  const RegionMap* map = nullptr;                 // must outlive this
  std::vector<std::vector<PicturePiece>> pieces;  // by memory, ascending
  std::string lister;                             // the command that lists what a page leaves out
};

// As the map has it on this image.
PictureGround ground_of(const Plan& plan, const Image& image);

// As the map declares it, known or not.
PictureGround declared_ground(const Plan& plan);

// The pieces of one memory that a stretch of it shows.
std::vector<PicturePiece> pieces_in(const PictureGround& ground, std::size_t memory, const Range& range);

// The whole memory as a strip with its regions: pieces, boxes and extent are set.
MemoryPicture memory_on(const PictureGround& ground, std::size_t memory);

// What the patterns mean, for the kinds that are there; `more` are further rows.
Html kinds_legend(const PictureGround& ground, const Html& more);
// One row of it: "changed" with its pin, and what that says.
enum class Pin : std::uint8_t { kChanged, kCorrected, kRefused };
Html pin_legend(Pin pin, std::string_view word, std::string_view meaning);

}  // namespace calseal
