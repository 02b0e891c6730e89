// A small controller with a checksum, and options for it.
#pragma once

#include <string>
#include <vector>

#include "calseal/option/compose.h"
#include "calseal/option/option_file.h"
#include "support/map_builder.h"

namespace calseal {

// As read from its own text, so that every option of a test has passed the parser.
inline OptionFile option_file(const Option& option) {
  const std::string text = write_option(option);
  auto file = parse_option(Bytes(text.begin(), text.end()), option.name + ".json");
  if (!file) throw std::runtime_error("option: " + file.error().place + ": " + file.error().found);
  return *std::move(file);
}

inline Option option_named(std::string name, std::vector<OptionEdit> edits) {
  Option option;
  option.name = std::move(name);
  option.title = "Option " + option.name;
  option.controller = "engine";
  option.region_map = "sample";
  option.edits = std::move(edits);
  return option;
}

// Flash of 1 KiB: calibration from 0x40, its CRC-32 behind it, learned bytes, a permitted patch, three items.
inline RegionMap option_map() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x400)
      .region("fuel", "editable", 0x40, 0x140)
      .region("spark", "editable", 0x180, 0x100)
      .region("learned", "volatile", 0x300, 0x40)
      .patch("light", 0x390, "1122", "3344")
      .checksum("all", kCrc32, {range_at(0x40, 0x240)}, {slot_at(0x2f0, 4)})
      .field("software", "software-number", 0, 8, "ascii")
      .add(
          "items",
          R"({"name": "limit", "kind": "scalar", "memory": "flash", "start": "0x00000100", "type": "u16", "factor": "0.5", "most": "2000", "unit": "1/min"})")
      .add(
          "items",
          R"({"name": "row", "kind": "curve", "memory": "flash", "start": "0x00000180", "type": "u16", "points": 8, "unit": "deg"})");
  return builder.parse();
}

inline Image option_base(const RegionMap& map, Bytes bytes) {
  Image image = filled_image(map);
  image.memories[0].bytes = std::move(bytes);
  put_text(image, 0, "SW-00001");
  byte_at(image, 0x390) = 0x11;
  byte_at(image, 0x391) = 0x22;
  const Plan plan = make_plan(map, image).value();
  if (!correct(plan, image)) throw std::runtime_error("no correction");
  return image;
}

// An edit of the bytes at an address, as they are in the base.
inline OptionEdit edit_at(const Image& base, std::uint64_t at, Bytes after) {
  const ByteView before = base.memories[0].view({at, at + after.size()});
  return {"flash", "", at, Bytes(before.begin(), before.end()), std::move(after)};
}

}  // namespace calseal
