// Random wrappings around random images: what is taken off and put on again is the very same file, or
// refused; an edit changes its own bytes and the wrapping's checksums, to the value that other arithmetic
// gives.
#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "calseal/map/read.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kFlash = 0x80000000, kFlashSize = 0x400, kEepromSize = 0x80;

// One checksum of the wrapping: a CRC-32 or a sum of bytes over everything before it, or over the whole file
// with every such slot counted as zero.
struct Own {
  std::uint64_t at = 0;
  bool crc = false, whole = false;
};

struct Wrapping {
  std::string json;
  Bytes file;  // as a tool would have written it
  struct Part {
    std::size_t memory;
    std::uint64_t address, at, size;
  };
  std::vector<Part> parts;
  std::vector<std::pair<std::size_t, Range>> omitted;
  std::uint8_t fill = 0;
  std::vector<Own> own;
  std::vector<std::uint64_t> free;  // offsets that nothing decides over: memory and opaque bytes
};

// Bit by bit, as the parameters of CRC-32/ISO-HDLC say.
std::uint32_t crc32_of(const Bytes& bytes) {
  std::uint32_t crc = 0xffffffffU;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc >> 1) ^ ((crc & 1U) != 0 ? 0xedb88320U : 0U);
  }
  return ~crc;
}

void seal_file(const Wrapping& wrapping, Bytes& file) {
  for (const Own& own : wrapping.own) {
    Bytes read(file.begin(), own.whole ? file.end() : file.begin() + static_cast<std::ptrdiff_t>(own.at));
    if (own.whole) {
      for (const Own& other : wrapping.own) {
        for (std::uint64_t i = 0; i < 4; ++i) read[other.at + i] = 0;
      }
    }
    std::uint32_t value = 0;
    if (own.crc) {
      value = crc32_of(read);
    } else {
      for (const std::uint8_t byte : read) value += byte;
    }
    for (unsigned i = 0; i < 4; ++i) file[own.at + i] = static_cast<std::uint8_t>(value >> (8 * i));
  }
}

// Cuts a memory into pieces, each of which stands in the file, is omitted, or is left out.
void draw_pieces(Random& random, std::size_t memory, std::uint64_t origin, std::uint64_t size,
                 std::vector<Wrapping::Part>& held, Wrapping& wrapping) {
  for (std::uint64_t at = 0; at < size;) {
    const std::uint64_t piece = std::min(size - at, random.between(1, size / 2));
    const std::uint64_t fate = random.between(0, 5);
    if (fate == 0) wrapping.omitted.push_back({memory, {origin + at, origin + at + piece}});
    if (fate > 1) held.push_back({memory, origin + at, 0, piece});
    at += piece;
  }
}

Wrapping draw(Random& random) {
  Wrapping wrapping;
  std::vector<Wrapping::Part> held;
  draw_pieces(random, 0, kFlash, kFlashSize, held, wrapping);
  draw_pieces(random, 1, 0, kEepromSize, held, wrapping);
  if (held.empty()) {
    held.push_back({1, 0, 0, kEepromSize});
    std::erase_if(wrapping.omitted, [](const auto& place) { return place.first == 1; });
  }
  for (std::size_t i = held.size(); i > 1; --i) std::swap(held[i - 1], held[random.between(0, i - 1)]);
  const char* const names[] = {"flash", "eeprom"};
  std::vector<std::string> blocks;
  const auto place = [&](const Wrapping::Part& part) {
    return range_at(part.address, part.size, "", names[part.memory]);
  };
  const auto extra = [&] {
    for (std::uint64_t n = random.between(0, 2); n > 0; --n) {
      const Bytes bytes = random.bytes(random.between(1, 20));
      switch (random.between(0, 2)) {
        case 0:
          blocks.push_back(R"({"constant": )" + in_quotes(to_hex(bytes)) + "}");
          break;
        case 1:
          blocks.push_back(R"({"opaque": )" + std::to_string(bytes.size()) + "}");
          for (std::size_t i = 0; i < bytes.size(); ++i) wrapping.free.push_back(wrapping.file.size() + i);
          break;
        default:
          if (wrapping.own.size() == 3) continue;
          wrapping.own.push_back({wrapping.file.size(), random.coin(), random.coin()});
          blocks.push_back(R"({"opaque": 4})");
          wrapping.file.resize(wrapping.file.size() + 4);
          continue;
      }
      wrapping.file.insert(wrapping.file.end(), bytes.begin(), bytes.end());
    }
  };
  extra();
  for (Wrapping::Part part : held) {
    part.at = wrapping.file.size();
    const Bytes bytes = random.bytes(part.size);
    wrapping.file.insert(wrapping.file.end(), bytes.begin(), bytes.end());
    blocks.push_back(place(part));
    for (std::uint64_t i = 0; i < part.size; ++i) wrapping.free.push_back(part.at + i);
    wrapping.parts.push_back(part);
    extra();
  }
  // A slot at the very front has nothing before it.
  for (Own& own : wrapping.own) own.whole = own.whole || own.at == 0;
  // Those over the whole file count every slot as zero, so they may come first; the others follow in order.
  wrapping.fill = static_cast<std::uint8_t>(random.between(0, 255));
  std::string json = R"({"name": "drawn", "blocks": )" + list_of(blocks);
  if (!wrapping.omitted.empty()) {
    std::vector<std::string> ranges;
    for (const auto& [memory, range] : wrapping.omitted)
      ranges.push_back(range_at(range.begin, range.size(), "", names[memory]));
    json += R"(, "omitted": )" + list_of(ranges) + R"(, "fill": )" + in_quotes(to_hex(Bytes{wrapping.fill}));
  }
  std::vector<std::string> checksums;
  for (const Own& own : wrapping.own) {
    std::vector<std::string> zeroed;
    for (const Own& other : wrapping.own) zeroed.push_back(range_at(other.at, 4, R"("as": "00")", "file"));
    checksums.push_back(R"({"name": "c)" + std::to_string(own.at) + R"(", "algorithm": )" +
                        (own.crc ? std::string(kCrc32) : R"({"sum": {"unit": 8, "accumulator": 32}})") +
                        R"(, "coverage": [)" +
                        range_at(0, own.whole ? wrapping.file.size() : own.at, "", "file") + "]" +
                        (own.whole ? R"(, "substitute": )" + list_of(zeroed) : "") + R"(, "slots": [)" +
                        slot_at(own.at, 4, "", "file") + "]}");
  }
  if (!checksums.empty()) json += R"(, "checksums": )" + list_of(checksums);
  wrapping.json = json + "}";
  std::ranges::stable_sort(wrapping.own, {}, [](const Own& own) { return !own.whole; });
  seal_file(wrapping, wrapping.file);
  return wrapping;
}

RegionMap map_of(const Wrapping& wrapping) {
  MapBuilder builder;
  builder.memory("flash", kFlash, kFlashSize).memory("eeprom", 0, kEepromSize);
  builder.add("forms", wrapping.json);
  return builder.parse();
}

Result<Read> load(const RegionMap& map, const Bytes& file) { return load_read(map, {{"", "f.bin", file}}); }

TEST(Forms, TakenOffAndPutOnAgainIsTheSameFileOrRefused) {
  Random random;
  for (int round = 0; round < 150; ++round) {
    const Wrapping wrapping = draw(random);
    SCOPED_TRACE(wrapping.json);
    const RegionMap map = map_of(wrapping);
    const auto read = load(map, wrapping.file);
    ASSERT_THAT(read, IsOk());
    ASSERT_EQ(read->sources[0].form, "drawn");
    RangeSet known[2];
    for (const auto& part : wrapping.parts) {
      const Range range{part.address, part.address + part.size};
      known[part.memory].add(range);
      const ByteView view = read->image.memories[part.memory].view(range);
      ASSERT_TRUE(
          std::equal(view.begin(), view.end(), wrapping.file.begin() + static_cast<std::ptrdiff_t>(part.at)));
    }
    for (const auto& [memory, range] : wrapping.omitted) {
      known[memory].add(range);
      ASSERT_TRUE(std::ranges::all_of(read->image.memories[memory].view(range),
                                      [&](std::uint8_t byte) { return byte == wrapping.fill; }));
    }
    for (std::size_t m = 0; m < 2; ++m) ASSERT_EQ(read->image.memories[m].known, known[m]);
    const auto again = render_read(map, *read, read->image);
    ASSERT_THAT(again, IsOk());
    ASSERT_EQ(again->front(), wrapping.file);

    // An edit: its bytes, and the checksums as other arithmetic has them.
    Image edited = read->image;
    Bytes expected = wrapping.file;
    for (int i = 0; i < 5; ++i) {
      const auto& part = wrapping.parts[random.between(0, wrapping.parts.size() - 1)];
      const std::uint64_t offset = random.between(0, part.size - 1);
      const auto value = static_cast<std::uint8_t>(random.between(0, 255));
      edited.memories[part.memory].span({part.address + offset, part.address + offset + 1})[0] = value;
      expected[part.at + offset] = value;
    }
    seal_file(wrapping, expected);
    const auto written = render_read(map, *read, edited);
    ASSERT_THAT(written, IsOk());
    ASSERT_EQ(written->front(), expected);
    ASSERT_THAT(load(map, written->front()), IsOk());

    // Where the form has no place for a byte, it is not lost in silence.
    if (!wrapping.omitted.empty()) {
      const auto& [memory, range] = wrapping.omitted.front();
      Image lost = read->image;
      lost.memories[memory].span({range.begin, range.begin + 1})[0] ^= 1;
      ASSERT_THAT(render_read(map, *read, lost), FailsWith(Reason::kFormOmits));
    }
  }
}

// Such a file is a raw one, whatever else it might have been.
bool is_size_of_memory(const Bytes& file) { return file.size() == kFlashSize || file.size() == kEepromSize; }

TEST(Forms, DamageIsRefusedOrGivenBackAsItCame) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    const Wrapping wrapping = draw(random);
    SCOPED_TRACE(wrapping.json);
    const RegionMap map = map_of(wrapping);
    const bool covered = std::ranges::any_of(wrapping.own, &Own::whole);
    for (int i = 0; i < 40; ++i) {
      Bytes damaged = wrapping.file;
      const std::uint64_t at = random.between(0, damaged.size() - 1);
      damaged[at] ^= static_cast<std::uint8_t>(1U << random.between(0, 7));
      const auto read = load(map, damaged);
      if (!read) {
        const Reason reason = read.error().reason;
        ASSERT_TRUE(reason == Reason::kFormChecksum || reason == Reason::kFormUnknown)
            << code(reason) << " at " << at;
        continue;
      }
      // Not of this form any more, and by chance as large as a memory: then it is a raw file of that memory.
      if (read->sources[0].form == "raw") {
        ASSERT_TRUE(is_size_of_memory(damaged));
        continue;
      }
      ASSERT_FALSE(covered) << "a checksum over the whole file let " << at << " pass";
      ASSERT_NE(std::ranges::find(wrapping.free, at), wrapping.free.end());
      ASSERT_EQ(render_read(map, *read, read->image).value().front(), damaged);
    }
    Bytes shorter(wrapping.file.begin(), wrapping.file.end() - 1);
    if (!shorter.empty() && !is_size_of_memory(shorter)) {
      ASSERT_FALSE(load(map, shorter));
    }
    Bytes longer = wrapping.file;
    longer.push_back(0);
    if (!is_size_of_memory(longer)) {
      ASSERT_FALSE(load(map, longer));
    }
  }
}

}  // namespace
}  // namespace calseal
