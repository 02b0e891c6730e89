// What the bytes of an unknown image look like: code, data, packed or unused; what repeats, what varies, what
// reads like a VIN.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/range_set.h"

namespace calseal {

enum class PartLook : std::uint8_t { kUnused, kData, kCode, kPacked };
std::string_view part_look_name(PartLook look);  // "unused", "data", "code", "packed"

struct ImagePart {
  Range range;  // offsets; whole sectors of 4 KiB
  PartLook look = PartLook::kCode;
  double entropy = 0;  // mean of its sectors, bits per byte
};

// Sectors of one look, joined. Unused: one value. Packed: above 7.5 bits per byte. Data: most neighbouring
// bytes or 16-bit words differ little, as in tables of calibration values. Code: the rest. A guess by
// structure, not a proof.
std::vector<ImagePart> find_parts(ByteView image);

struct Repetition {
  Range first, again;  // offsets, equally long
  bool complemented = false;
};

// Runs of sectors that stand twice, plain or with every bit inverted; unused ones apart. At most `most`,
// longest first.
std::vector<Repetition> find_repetitions(ByteView image, std::size_t most);

// Offsets at which images of one size differ; runs at most 16 bytes apart are joined.
RangeSet find_varying(const std::vector<ByteView>& images);

struct VinFound {
  std::uint64_t at = 0;
  std::string text;
};
// Seventeen characters that a VIN may have, standing alone, with the check digit of 49 CFR 565.15. One text
// in eleven passes that by chance.
std::vector<VinFound> find_vins(ByteView image);

}  // namespace calseal
