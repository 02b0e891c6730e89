// A stretch of memory as a strip to scale: what may change and what may not, and where something did.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/map/kinds.h"
#include "calseal/report/html/markup.h"

namespace calseal {

struct PicturePiece {
  Range range;  // addresses
  SpanKind kind = SpanKind::kLocked;
  bool known = true;
};

// Bytes that changed; derived ones followed from others, refused ones may not change.
struct PictureMark {
  Range range;
  bool derived = false, refused = false;
};

// A letter above the strip, for what is told about that place elsewhere.
struct PictureFlag {
  std::uint64_t at = 0;
  std::string letter;
};

// Thousandths of a picture's width, for its attributes: "12.5%".
std::string share_text(double thousandths);

// "A" to "Z", then "A2" ...
std::string place_letter(std::size_t index);

// Something with a name inside the strip: a region, or a calibration item. Named where there is room.
struct PictureBox {
  Range range;
  std::string name;
  bool changed = false;
};

struct MemoryPicture {
  Range extent;
  std::vector<PicturePiece> pieces;  // ascending; what none covers is locked
  std::vector<PictureMark> marks;    // ascending
  std::vector<PictureFlag> flags;    // ascending
  std::vector<PictureBox> boxes;     // ascending
  bool boxes_apart = false;          // a lane of their own below the strip, instead of lines in it
  std::vector<PictureBox> lane;      // ascending; further things, always in such a lane
  std::string spoken;                // the picture in words
};

// Drawn to scale in the width that there is. A piece too small for that is a stroke below the strip, a change
// never less than a stroke and a pin above it. Bounded however many pieces and marks there are.
Html memory_picture(const MemoryPicture& picture);

}  // namespace calseal
