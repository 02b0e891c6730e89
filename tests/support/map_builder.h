// Small region maps as text, section by section, and images for them.
#pragma once

#include <gtest/gtest.h>

#include <map>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/map/plan.h"
#include "calseal/map/read.h"
#include "calseal/map/region_map.h"
#include "support/random.h"

namespace calseal {

inline std::string in_quotes(std::string_view text) { return "\"" + std::string(text) + "\""; }

// Members of a range: memory, `key` and size.
inline std::string members_of(std::string_view key, std::uint64_t address, std::uint64_t size,
                              std::string_view memory) {
  return "\"memory\": " + in_quotes(memory) + ", " + in_quotes(key) + ": " +
         in_quotes(address_text(address)) + ", \"size\": " + std::to_string(size);
}

// {"memory", "start", "size"} and further members, as in coverage and substitutes.
inline std::string range_at(std::uint64_t address, std::uint64_t size, std::string_view more = "",
                            std::string_view memory = "flash") {
  return "{" + members_of("start", address, size, memory) + (more.empty() ? "" : ", ") + std::string(more) +
         "}";
}

// {"memory", "at", "size"} and further members, as in slots and balances.
inline std::string slot_at(std::uint64_t address, std::uint64_t size, std::string_view more = "",
                           std::string_view memory = "flash") {
  return "{" + members_of("at", address, size, memory) + (more.empty() ? "" : ", ") + std::string(more) + "}";
}

inline std::string list_of(const std::vector<std::string>& items) {
  std::string text = "[";
  for (const std::string& item : items) text += (text.size() > 1 ? ", " : "") + item;
  return text + "]";
}

inline constexpr std::string_view kCrc32 = R"({"crc": "CRC-32/ISO-HDLC"})";
inline constexpr std::string_view kCrc16 = R"({"crc": "CRC-16/IBM-3740"})";

class MapBuilder {
 public:
  // Adds one element to a list of the map: "memories", "regions", "checksums", ...
  MapBuilder& add(const std::string& section, std::string element) {
    sections_[section].push_back(std::move(element));
    return *this;
  }
  MapBuilder& memory(std::string_view name, std::uint64_t origin, std::uint64_t size,
                     std::string_view more = "") {
    return add("memories", R"({"name": )" + in_quotes(name) + R"(, "origin": )" +
                               in_quotes(address_text(origin)) + R"(, "size": )" + std::to_string(size) +
                               (more.empty() ? "" : ", ") + std::string(more) + "}");
  }
  MapBuilder& region(std::string_view name, std::string_view policy, std::uint64_t start, std::uint64_t size,
                     std::string_view memory = "flash") {
    return add("regions", R"({"name": )" + in_quotes(name) + ", " + members_of("start", start, size, memory) +
                              R"(, "policy": )" + in_quotes(policy) + "}");
  }
  MapBuilder& patch(std::string_view name, std::uint64_t at, std::string_view before,
                    std::string_view after) {
    return add("permitted_patches", R"({"name": )" + in_quotes(name) + R"(, "memory": "flash", "at": )" +
                                        in_quotes(address_text(at)) + R"(, "before": )" + in_quotes(before) +
                                        R"(, "after": )" + in_quotes(after) + "}");
  }
  MapBuilder& copy(std::string_view name, std::uint64_t to, std::uint64_t of, std::uint64_t size,
                   std::string_view more = "", std::string_view memory = "flash") {
    return add("copies", R"({"name": )" + in_quotes(name) + ", " + members_of("start", to, size, memory) +
                             R"(, "of": {"memory": "flash", "start": )" + in_quotes(address_text(of)) + "}" +
                             (more.empty() ? "" : ", ") + std::string(more) + "}");
  }
  // A checksum with slots (or, in `more`, a rule).
  MapBuilder& checksum(std::string_view name, std::string_view algorithm,
                       const std::vector<std::string>& coverage, const std::vector<std::string>& slots,
                       std::string_view more = "") {
    return add("checksums", R"({"name": )" + in_quotes(name) + R"(, "algorithm": )" + std::string(algorithm) +
                                R"(, "coverage": )" + list_of(coverage) +
                                (slots.empty() ? "" : R"(, "slots": )" + list_of(slots)) +
                                (more.empty() ? "" : ", ") + std::string(more) + "}");
  }
  MapBuilder& field(std::string_view name, std::string_view kind, std::uint64_t at, std::uint64_t size,
                    std::string_view encoding, std::string_view more = "") {
    return add("identity", R"({"name": )" + in_quotes(name) + R"(, "kind": )" + in_quotes(kind) + ", " +
                               members_of("at", at, size, "flash") + R"(, "encoding": )" +
                               in_quotes(encoding) + (more.empty() ? "" : ", ") + std::string(more) + "}");
  }
  MapBuilder& recognise(std::string text) {
    recognise_ = std::move(text);
    return *this;
  }

  std::string text() const {
    std::string text =
        R"({"calseal": "region-map/1", "name": "sample", "controller": "engine", "version": 1, "regions": )" +
        list_of(section("regions"));
    for (const auto& [name, elements] : sections_) {
      if (name != "regions") text += ", " + in_quotes(name) + ": " + list_of(elements);
    }
    if (!recognise_.empty()) text += R"(, "recognise": )" + recognise_;
    return text + R"(, "evidence": {"author": "A", "verified_on": [], "guesses": [], "grade": "draft"}})";
  }
  Result<RegionMap> try_parse() const {
    const std::string json = text();
    return parse_region_map(Bytes(json.begin(), json.end()), "sample.json");
  }
  RegionMap parse() const {
    Result<RegionMap> map = try_parse();
    if (!map) {
      throw std::runtime_error("sample map: " + std::string(code(map.error().reason)) + " at " +
                               map.error().place + ": " + map.error().found + ", expected " +
                               map.error().expected);
    }
    return *std::move(map);
  }

 private:
  std::vector<std::string> section(const std::string& name) const {
    const auto it = sections_.find(name);
    return it == sections_.end() ? std::vector<std::string>{} : it->second;
  }
  std::map<std::string, std::vector<std::string>> sections_;
  std::string recognise_;
};

// An image in which every existing byte is known and is the fill.
inline Image filled_image(const RegionMap& map) {
  Image image = blank_image(map);
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    for (const Range& segment : map.memories[m].segments) image.memories[m].known.add(segment);
  }
  return image;
}

inline Image random_image(const RegionMap& map, Random& random) {
  Image image = filled_image(map);
  for (Memory& memory : image.memories) memory.bytes = random.bytes(memory.bytes.size());
  return image;
}

inline void put_bytes(Image& image, std::uint64_t address, ByteView bytes, std::size_t memory = 0) {
  std::ranges::copy(bytes, image.memories[memory].span({address, address + bytes.size()}).begin());
}
inline void put_text(Image& image, std::uint64_t address, std::string_view text, std::size_t memory = 0) {
  put_bytes(image, address, view_of(text), memory);
}
inline std::string hex_at(const Image& image, std::uint64_t address, std::uint64_t size,
                          std::size_t memory = 0) {
  return to_hex(image.memories[memory].view({address, address + size}));
}
inline std::string text_at(const Image& image, std::uint64_t address, std::uint64_t size,
                           std::size_t memory = 0) {
  return std::string(text_of(image.memories[memory].view({address, address + size})));
}
inline std::uint8_t& byte_at(Image& image, std::uint64_t address, std::size_t memory = 0) {
  return image.memories[memory].span({address, address + 1})[0];
}
inline void forget(Image& image, std::uint64_t address, std::uint64_t size, std::size_t memory = 0) {
  image.memories[memory].known.remove(Range{address, address + size});
  for (std::uint64_t a = address; a < address + size; ++a) byte_at(image, a, memory) = 0xff;
}
inline bool same_bytes(const Image& a, const Image& b) {
  for (std::size_t m = 0; m < a.memories.size(); ++m) {
    if (a.memories[m].bytes != b.memories[m].bytes) return false;
  }
  return true;
}

}  // namespace calseal
