// Invented controllers with checksums that nobody has declared, for drafting: layouts, contents, algorithms
// and places drawn from a seed. The checksum code is its own: bit by bit, word by word.
#pragma once

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <random>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/digest/catalogue.h"

namespace draft_bench {

using calseal::Bytes;
using calseal::Range;

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : engine_(seed) {}
  std::uint64_t between(std::uint64_t least, std::uint64_t most) {
    return least + engine_() % (most - least + 1);
  }
  bool chance(std::uint64_t percent) { return between(1, 100) <= percent; }
  std::uint8_t byte() { return static_cast<std::uint8_t>(engine_() >> 20); }

 private:
  std::mt19937_64 engine_;
};

struct Method {
  bool crc = true;
  std::string name;
  int width = 32;
  std::uint64_t poly = 0, init = 0, xorout = 0;
  bool refin = false, refout = false;
  int unit = 1;  // bytes
  bool big = false, exclusive = false;
};

inline std::uint64_t mask_of(int width) {
  return width == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << width) - 1;
}

inline std::uint64_t mirrored(std::uint64_t value, int width) {
  std::uint64_t out = 0;
  for (int i = 0; i < width; ++i) out |= ((value >> i) & 1) << (width - 1 - i);
  return out;
}

// The Rocksoft model, a bit at a time (a byte at a time through a table made that way).
inline std::uint64_t crc_of(const Method& m, const Bytes& bytes) {
  const std::uint64_t top = std::uint64_t{1} << (m.width - 1), mask = mask_of(m.width);
  std::vector<std::uint64_t> table(256);
  for (std::uint64_t byte = 0; byte < 256; ++byte) {
    // Widths below eight do not occur here.
    std::uint64_t reg = byte << (m.width - 8);
    for (int i = 0; i < 8; ++i) reg = (reg & top) != 0 ? ((reg << 1) ^ m.poly) & mask : (reg << 1) & mask;
    table[byte] = reg;
  }
  std::uint64_t reg = m.init;
  for (std::uint8_t byte : bytes) {
    if (m.refin) byte = static_cast<std::uint8_t>(mirrored(byte, 8));
    reg = ((reg << 8) & mask) ^ table[((reg >> (m.width - 8)) ^ byte) & 0xff];
  }
  if (m.refout) reg = mirrored(reg, m.width);
  return reg ^ m.xorout;
}

inline std::uint64_t sum_of(const Method& m, const Bytes& bytes) {
  std::uint64_t total = 0;
  for (std::size_t i = 0; i < bytes.size(); i += static_cast<std::size_t>(m.unit)) {
    std::uint64_t word = 0;
    for (int k = 0; k < m.unit; ++k) {
      const std::size_t at = i + static_cast<std::size_t>(k);
      const std::uint64_t byte = at < bytes.size() ? bytes[at] : 0;
      word |= byte << (8 * (m.big ? m.unit - 1 - k : k));
    }
    total = m.exclusive ? total ^ word : total + word;
  }
  return total & mask_of(m.width);
}

enum class Own { kOutside, kZeros, kOnes };

// One checksum that the controller's software would verify.
struct Truth {
  Method method;
  Range coverage;
  bool rule = false;  // the sum over the coverage is `equals`
  std::uint64_t equals = 0;
  std::uint64_t slot = 0;  // a rule: its balance
  bool big = false;
  bool complement = false;
  bool twin = false;  // complemented once more behind it
  Own own = Own::kOutside;
  bool in_table = false;
  std::uint64_t size() const { return static_cast<std::uint64_t>(method.width / 8); }
};

inline std::uint64_t value_of(const Truth& truth, const Bytes& image) {
  Bytes message(image.begin() + static_cast<std::ptrdiff_t>(truth.coverage.begin),
                image.begin() + static_cast<std::ptrdiff_t>(truth.coverage.end));
  if (truth.own != Own::kOutside) {
    const std::uint64_t bytes = truth.size() * (truth.twin ? 2 : 1);
    for (std::uint64_t i = truth.slot; i < truth.slot + bytes; ++i) {
      if (truth.coverage.contains(i))
        message[static_cast<std::size_t>(i - truth.coverage.begin)] = truth.own == Own::kZeros ? 0x00 : 0xff;
    }
  }
  return truth.method.crc ? crc_of(truth.method, message) : sum_of(truth.method, message);
}

inline void store(Bytes& image, std::uint64_t at, std::uint64_t value, std::uint64_t size, bool big) {
  for (std::uint64_t i = 0; i < size; ++i)
    image[static_cast<std::size_t>(at + i)] =
        static_cast<std::uint8_t>(value >> (8 * (big ? size - 1 - i : i)));
}

inline std::uint64_t load(const Bytes& image, std::uint64_t at, std::uint64_t size, bool big) {
  std::uint64_t value = 0;
  for (std::uint64_t i = 0; i < size; ++i)
    value |= std::uint64_t{image[static_cast<std::size_t>(at + i)]} << (8 * (big ? size - 1 - i : i));
  return value;
}

inline void put_right(const Truth& truth, Bytes& image) {
  if (truth.rule) {
    // Exclusive or and addition are undone by what is missing.
    store(image, truth.slot, 0, truth.size(), truth.method.big);
    const std::uint64_t now = value_of(truth, image), mask = mask_of(truth.method.width);
    store(image, truth.slot, truth.method.exclusive ? now ^ truth.equals : (truth.equals - now) & mask,
          truth.size(), truth.method.big);
    return;
  }
  std::uint64_t value = value_of(truth, image);
  if (truth.complement) value = ~value & mask_of(truth.method.width);
  store(image, truth.slot, value, truth.size(), truth.big);
  if (truth.twin)
    store(image, truth.slot + truth.size(), ~value & mask_of(truth.method.width), truth.size(), truth.big);
}

struct Controller {
  std::vector<Bytes> images;  // software numbers of one family: same layout, other contents
  std::vector<Truth> truths;  // inner ones first
  bool has_table = false;
  std::uint64_t origin = 0;
};

// `starts`: init and xorout of CRCs are drawn as well.
inline Method draw_method(Draw& draw, bool starts) {
  Method m;
  const std::uint64_t kind = draw.between(1, 100);
  if (kind <= 60) {
    const std::uint64_t wanted = draw.between(1, 100);
    // Half of all CRCs are of the usual kinds; the rest come from the whole catalogue.
    static const std::string kCommon =
        " CRC-16/ARC CRC-16/IBM-3740 CRC-16/KERMIT CRC-16/MODBUS CRC-16/XMODEM CRC-16/IBM-SDLC "
        "CRC-32/ISO-HDLC "
        "CRC-32/BZIP2 CRC-32/MPEG-2 CRC-32/JAMCRC CRC-32/ISCSI CRC-32/AUTOSAR CRC-64/XZ ";
    const bool common = draw.chance(50);
    const int width = wanted <= 60 ? 32 : wanted <= 90 ? 16 : 64;
    std::vector<const calseal::CatalogueEntry*> fitting;
    for (const calseal::CatalogueEntry& entry : calseal::crc_catalogue()) {
      if (entry.width == width &&
          (!common || kCommon.find(" " + std::string(entry.name) + " ") != std::string::npos))
        fitting.push_back(&entry);
    }
    const calseal::CatalogueEntry& entry = *fitting[draw.between(0, fitting.size() - 1)];
    m.name = entry.name;
    m.width = width;
    m.poly = entry.poly.low;
    m.init = entry.init.low;
    m.xorout = entry.xorout.low;
    m.refin = entry.refin;
    m.refout = entry.refout;
    if (starts && m.refin == m.refout) {
      m.init = (draw.between(0, ~std::uint64_t{0} - 1) >> 1 ^ draw.between(0, ~std::uint64_t{0} - 1)) &
               mask_of(width);
      m.xorout = draw.between(0, ~std::uint64_t{0} - 1) & mask_of(width);
      m.name += " with another start";
    }
    return m;
  }
  m.crc = false;
  m.big = draw.chance(50);
  const std::uint64_t which = draw.between(1, 7);
  m.exclusive = which >= 6;
  m.unit = which == 1 ? 1 : which == 2 ? 1 : which == 3 ? 2 : which == 4 ? 2 : 4;
  m.width = which == 1 ? 16 : which == 3 ? 16 : 32;
  if (which == 6) m.unit = 2, m.width = 16;
  m.name = (m.exclusive ? "xor" : "sum") + std::to_string(8 * m.unit) + (m.big ? "be" : "le") + "/" +
           std::to_string(m.width);
  return m;
}

// What the parts of an image look like.
inline void fill_part(Bytes& image, Range part, int look, Draw& draw) {
  std::uint64_t walk = draw.between(1000, 30000);
  const std::uint64_t step = draw.between(3, 60);
  const bool big = draw.chance(50);
  for (std::uint64_t i = part.begin; i < part.end; ++i) {
    std::uint8_t byte = 0;
    if (look == 0) {  // code
      byte = i % 4 == 3 ? static_cast<std::uint8_t>(0x40 + draw.between(0, 11))
                        : static_cast<std::uint8_t>(draw.byte() & draw.byte());
    } else if (look == 1) {  // 16-bit tables
      if (i % 2 == 0) walk = (walk + draw.between(0, 2 * step) + 65536 - step) & 0x7fff;
      if (i % 128 == 0) walk = draw.between(1000, 30000);
      byte = static_cast<std::uint8_t>((i % 2 == 0) == big ? walk >> 8 : walk);
    } else if (look == 2) {  // 8-bit tables
      if (i % 64 == 0) walk = draw.between(20, 200);
      walk = (walk + draw.between(0, 4) + 254) & 0xff;
      byte = static_cast<std::uint8_t>(walk);
    } else {  // compressed
      byte = draw.byte();
    }
    image[static_cast<std::size_t>(i)] = byte;
  }
  // Tables that are empty, here and there.
  for (std::uint64_t n = 0; n < part.size() / 16384; ++n) {
    const std::uint64_t at = draw.between(part.begin, part.end - 1), bytes = draw.between(8, 400);
    for (std::uint64_t i = at; i < std::min(part.end, at + bytes); ++i)
      image[static_cast<std::size_t>(i)] = draw.chance(50) ? 0x00 : 0x00;
  }
}

struct Part {
  Range whole;  // sectors
  std::uint64_t used = 0;
  int look = 0;
};

inline Controller draw_controller(std::uint64_t seed, int images = 2, bool starts = false) {
  constexpr std::uint64_t kSector = 4096;
  Draw draw(seed);
  Controller controller;
  const std::uint64_t size = std::uint64_t{262144} << draw.between(0, 3);
  const std::uint8_t fill = draw.chance(75) ? 0xff : 0x00;
  constexpr std::uint64_t kOrigins[] = {0, 0x80000000, 0xa0000000, 0x08000000, 0x00800000, 0x40000000};
  controller.origin = kOrigins[draw.between(0, 5)];
  // Parts: boot, code, then calibration; unused sectors between some.
  std::vector<Part> parts;
  const std::uint64_t sectors = size / kSector;
  const std::uint64_t checks = draw.between(3, 8);
  std::uint64_t at = 0;
  const std::uint64_t wanted = checks + draw.between(0, 2);
  for (std::uint64_t n = 0; n < wanted; ++n) {
    const std::uint64_t left = sectors - at, share = left / (wanted - n);
    std::uint64_t length = std::max<std::uint64_t>(2, draw.between(share / 3, share));
    if (length > left) break;
    Part part;
    part.whole = {at * kSector, (at + length) * kSector};
    part.look = n < 2 ? 0 : static_cast<int>(draw.between(0, 9) < 1 ? 3 : draw.between(1, 2));
    part.used =
        draw.chance(60) ? draw.between(part.whole.size() / 2, part.whole.size() - 64) : part.whole.size();
    parts.push_back(part);
    at += length;
    if (draw.chance(30) && at + 1 < sectors) at += draw.between(1, std::max<std::uint64_t>(1, share / 4));
  }
  // What the software's authors are used to.
  const bool of_one_house = draw.chance(70);
  std::vector<Method> house;
  for (std::uint64_t n = draw.between(1, 2); n > 0; --n) house.push_back(draw_method(draw, starts));
  const std::uint64_t house_place = draw.between(0, 7);
  const bool house_big = draw.chance(50);
  controller.has_table = draw.chance(50);
  const std::uint64_t in_table = controller.has_table ? draw.between(2, checks) : 0;
  const std::uint64_t list_at =
      parts.front().whole.begin + 0x100 + 16 * draw.between(0, 40);  // slots side by side
  const std::uint64_t table_at = parts.front().whole.begin + 0x800 + 4 * draw.between(0, 200);
  const Method table_method = house.front();
  const std::uint64_t value_bytes = static_cast<std::uint64_t>(table_method.width / 8);
  const bool table_big = draw.chance(50), table_twin = draw.chance(30), bank_relative = draw.chance(20);
  const std::uint64_t end_kind = draw.between(0, 2);
  const std::uint64_t stride =
      (8 + std::max<std::uint64_t>(4, value_bytes * (table_twin ? 2 : 1)) + 4 * draw.between(0, 3) + 3) / 4 *
      4;
  std::uint64_t free_slot = list_at;
  std::vector<Range> record_ranges;
  const auto part_for = [&](std::uint64_t n) { return parts[n % parts.size()]; };
  const bool outer = draw.chance(50);
  std::vector<Range> reserved;  // slots never meet
  for (std::uint64_t n = 0; n < checks; ++n) {
    Truth truth;
    // The last one may go over several parts, slots of the others included.
    const bool is_outer = outer && n + 1 == checks && parts.size() > 2;
    const Part part = part_for(n);
    Range range = part.whole;
    if (is_outer) {
      const std::size_t first = draw.between(0, parts.size() - 2);
      range = {parts[first].whole.begin, parts[draw.between(first + 1, parts.size() - 1)].whole.end};
    }
    if (n < in_table) {
      truth.method = table_method;
      truth.in_table = true;
      truth.coverage = range;
      // Not over the table itself: its values would cover themselves.
      if (range.contains(table_at))
        truth.coverage.begin = (table_at + stride * in_table + 0x3ff) / 0x100 * 0x100;
      if (draw.chance(50) && part.used < part.whole.size() && !is_outer)
        truth.coverage.end =
            std::max(truth.coverage.begin + 256, (part.whole.begin + part.used + 15) / 16 * 16);
      truth.slot = table_at + stride * n + 8;
      truth.big = table_big;
      truth.twin = table_twin;
      record_ranges.push_back(truth.coverage);
      controller.truths.push_back(truth);
      continue;
    }
    truth.method = of_one_house ? house[draw.between(0, house.size() - 1)] : draw_method(draw, starts);
    truth.big = of_one_house ? house_big : draw.chance(50);
    const std::uint64_t bytes = truth.size();
    const std::uint64_t place = of_one_house ? house_place : draw.between(0, 7);
    truth.complement = !of_one_house && draw.chance(15);
    truth.coverage = range;
    const bool first_part = range.begin == 0;
    switch (is_outer && place >= 4 ? 2 : place) {
      case 0:  // at the end, not covered
        truth.slot = range.end - bytes;
        truth.coverage.end -= bytes;
        break;
      case 1:  // at the end, its own bytes as a constant
        truth.slot = range.end - bytes;
        truth.own = draw.chance(50) ? Own::kZeros : Own::kOnes;
        break;
      case 2:  // at the end with its complement behind
        truth.slot = range.end - 2 * bytes;
        truth.twin = true;
        truth.coverage.end -= 2 * bytes;
        break;
      case 3:  // before a trailer of 8 or 16 bytes
        truth.slot = range.end - 8;
        truth.coverage.end -= 8;
        if (bytes == 8) break;
        break;
      case 4:  // at the begin, not covered
        truth.slot = range.begin;
        truth.coverage.begin += bytes;
        break;
      case 5:  // at the begin, its own bytes as zeros
        truth.slot = range.begin + (draw.chance(50) ? 0 : 8);
        truth.own = Own::kZeros;
        break;
      case 6:  // in a list of slots, elsewhere
        if (first_part) {
          truth.slot = range.end - bytes;
          truth.coverage.end -= bytes;
        } else {
          truth.slot = free_slot;
          free_slot += (bytes + 3) / 4 * 4;
        }
        break;
      default:  // the sum over all is a constant; a CRC stands at the end
        if (truth.method.crc || truth.method.unit * 8 != truth.method.width) {
          truth.slot = range.end - bytes;
          truth.coverage.end -= bytes;
        } else {
          truth.rule = true;
          truth.complement = false;
          truth.big = truth.method.big;
          truth.equals = draw.chance(50) ? 0 : mask_of(truth.method.width);
          truth.slot = range.begin + draw.between(1, range.size() / 16 - 2) * 16;
        }
    }
    // A place that is taken moves the checksum to the end of the part after it, or away.
    const Range slot{truth.slot, truth.slot + bytes * (truth.twin ? 2 : 1)};
    bool meets = slot.overlaps({list_at, list_at + 64}) && place != 6;
    meets = meets || slot.overlaps({table_at - 8, table_at + stride * 9});
    for (const Range& other : reserved) meets = meets || other.overlaps(slot);
    for (const Truth& other : controller.truths)
      meets = meets || (other.coverage == truth.coverage && !is_outer);
    if (meets) continue;
    reserved.push_back(slot);
    controller.truths.push_back(truth);
  }
  // Inner ones first: whatever covers another's slot comes later.
  std::stable_sort(controller.truths.begin(), controller.truths.end(),
                   [](const Truth& a, const Truth& b) { return a.coverage.size() < b.coverage.size(); });
  for (int k = 0; k < images; ++k) {
    Bytes image(static_cast<std::size_t>(size), fill);
    for (const Part& part : parts)
      fill_part(image, {part.whole.begin, part.whole.begin + part.used}, part.look, draw);
    for (std::uint64_t n = 0; n < record_ranges.size(); ++n) {
      const Range range = record_ranges[n];
      const std::uint64_t record = table_at + stride * n;
      std::uint64_t bank = 0, base = controller.origin;
      if (bank_relative) {
        base = 0;
        bank = 0;
      }
      store(image, record, base + range.begin - bank, 4, table_big);
      const std::uint64_t second = end_kind == 0   ? base + range.end - 1 - bank
                                   : end_kind == 1 ? base + range.end - bank
                                                   : range.size();
      store(image, record + 4, second, 4, table_big);
      for (std::uint64_t i = record + 8; i < record + stride; ++i) image[static_cast<std::size_t>(i)] = 0;
    }
    // Several rounds settle checksums that cover each other's slots in a chain; true circles are left out
    // below.
    for (int round = 0; round < 4; ++round) {
      for (const Truth& truth : controller.truths) put_right(truth, image);
    }
    controller.images.push_back(std::move(image));
  }
  std::erase_if(controller.truths, [&](const Truth& truth) {
    return std::any_of(controller.images.begin(), controller.images.end(), [&](const Bytes& image) {
      Bytes again = image;
      put_right(truth, again);
      return again != image;
    });
  });
  return controller;
}

}  // namespace draft_bench
