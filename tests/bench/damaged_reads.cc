// How well damaged reads are told: 500 seeded reads with one known damage each, and 200 good ones, judged
// without any known stock. Prints the Markdown table of docs/measurements.md. Controllers and data are
// invented. With a folder it also keeps there what it drew, for look_reads.mjs.
//
// usage: damaged_reads [FIRST_SEED [FOLDER]]
#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/map/correct.h"
#include "calseal/study/read_judgement.h"

namespace {

using namespace calseal;

constexpr int kDamaged = 500;
constexpr int kGood = 200;

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : engine_(seed) {}
  std::uint64_t between(std::uint64_t least, std::uint64_t most) {
    return least + engine_() % (most - least + 1);
  }
  std::uint8_t byte() { return static_cast<std::uint8_t>(engine_()); }

 private:
  std::mt19937_64 engine_;
};

std::string range_of(std::uint64_t begin, std::uint64_t end) {
  return R"({"memory":"flash","start":")" + address_text(begin) + R"(","size":)" +
         std::to_string(end - begin) + "}";
}

// Header, code, four calibration blocks, unused space, learned values, tail: each but the unused and the
// learned under a checksum of its own.
struct Layout {
  std::uint64_t size, code, calibration, unused, learned, tail;
  explicit Layout(std::uint64_t bytes)
      : size(bytes),
        code(0x1000),
        calibration(bytes / 2),
        unused(bytes / 4 * 3),
        learned(bytes - 0x2000),
        tail(bytes - 0x1000) {}
  std::uint64_t block(std::uint64_t i) const { return calibration + (unused - calibration) / 4 * i; }
  // Parts with a checksum of their own: the code, then the blocks.
  Range part(std::uint64_t i) const {
    return i == 0 ? Range{code, calibration} : Range{block(i - 1), block(i)};
  }
};

RegionMap make_map(const Layout& at) {
  std::string regions, checks;
  const auto region = [&](const std::string& name, std::uint64_t begin, std::uint64_t end,
                          const std::string& policy) {
    std::string text = range_of(begin, end);
    text.back() = ',';
    regions +=
        (regions.empty() ? "" : ",") + text + R"("name":")" + name + R"(","policy":")" + policy + "\"}";
  };
  int slot = 0;
  const auto check = [&](const std::string& name, std::uint64_t begin, std::uint64_t end) {
    checks += R"({"name":")" + name + R"(","algorithm":{"crc":"CRC-32/ISO-HDLC"},"coverage":[)" +
              range_of(begin, end) + R"(],"slots":[{"memory":"flash","at":")" +
              address_text(0x200 + 4 * static_cast<std::uint64_t>(slot++)) + R"(","size":4}]},)";
  };
  region("header", 0, 0x400, "locked");
  region("code", at.code, at.calibration, "locked");
  check("code", at.code, at.calibration);
  for (std::uint64_t i = 0; i < 4; ++i) {
    region("block-" + std::to_string(i), at.block(i), at.block(i + 1), "editable");
    check("block-" + std::to_string(i), at.block(i), at.block(i + 1));
  }
  region("learned", at.learned, at.tail, "volatile");
  region("tail", at.tail, at.size, "locked");
  check("tail", at.tail, at.size);
  checks += R"({"name":"header","algorithm":{"crc":"CRC-16/IBM-3740"},"coverage":[)" + range_of(0, 0x3fc) +
            R"(],"slots":[{"memory":"flash","at":"0x000003fc","size":2}]})";
  const std::string text =
      R"({"calseal":"region-map/1","name":"bench","controller":"engine","version":1,"memories":[{"name":"flash","origin":"0x00000000","size":)" +
      std::to_string(at.size) +
      R"(}],"recognise":{"all":[{"memory":"flash","at":"0x00000010","bytes":"424e43485f464d31"}]},"regions":[)" +
      regions + R"(],"checksums":[)" + checks +
      R"(],"identity":[{"name":"software","kind":"software-number","memory":"flash","at":"0x00000020","size":10,"encoding":"ascii","pattern":"BN-#######"}],"evidence":{"author":"bench","verified_on":[],"guesses":[],"grade":"draft"}})";
  const ByteView view = view_of(text);
  auto map = parse_region_map(Bytes(view.begin(), view.end()), "bench");
  if (!map) {
    std::fprintf(stderr, "%s %s %s\n", map.error().place.c_str(), map.error().found.c_str(),
                 map.error().expected.c_str());
    std::exit(4);
  }
  return *std::move(map);
}

void put(Bytes& bytes, std::uint64_t at, std::string_view text) {
  std::copy(text.begin(), text.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at));
}

// Code with blanks and a repeated table in it, smooth calibration tables with padding behind them: what looks
// like damage and is none.
Bytes make_image(const RegionMap& map, const Layout& at, Draw& draw) {
  Bytes bytes(at.size, 0xff);
  for (std::uint64_t i = 0; i < 0x400; ++i) bytes[i] = i < 0x100 ? draw.byte() & 0x7f : 0xff;
  put(bytes, 0x10, "BNCH_FM1");
  put(bytes, 0x20, "BN-" + std::to_string(draw.between(1000000, 9999999)));
  for (std::uint64_t i = at.code; i < at.calibration; ++i) {
    bytes[i] = i % 4 == 3 ? static_cast<std::uint8_t>(0x40 + draw.between(0, 11)) : draw.byte() & draw.byte();
  }
  for (int n = 0; n < 3; ++n) {
    const std::uint64_t from = draw.between(at.code, at.calibration - 0x800);
    const std::uint64_t long_as = draw.between(70, 900);
    std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(from), long_as,
                static_cast<std::uint8_t>(n == 0 ? 0xff : 0));
  }
  const std::uint64_t table = draw.between(at.code, at.calibration - 0x2000);
  const std::uint64_t again = draw.between(at.code, at.calibration - 0x2000);
  for (std::uint64_t i = 0; i < 300; ++i) bytes[again + i] = bytes[table + i];
  for (std::uint64_t b = 0; b < 4; ++b) {
    std::uint64_t value = draw.between(100, 60000);
    const std::uint64_t padding = at.block(b + 1) - draw.between(64, 2000);
    for (std::uint64_t i = at.block(b); i + 1 < padding; i += 2) {
      value += draw.between(0, 64);
      value -= std::min<std::uint64_t>(value, draw.between(0, 63));
      bytes[i] = static_cast<std::uint8_t>(value);
      bytes[i + 1] = static_cast<std::uint8_t>(value >> 8);
    }
  }
  for (std::uint64_t i = at.learned; i < at.tail; ++i) bytes[i] = draw.between(0, 3) == 0 ? draw.byte() : 0;
  for (std::uint64_t i = at.tail; i < at.size; ++i) bytes[i] = draw.byte() & draw.byte();
  Image image = blank_image(map);
  image.memories[0].bytes = bytes;
  image.memories[0].known.add({0, at.size});
  const auto plan = make_plan(map, image);
  if (!plan || !correct(*plan, image)) std::exit(4);
  return image.memories[0].bytes;
}

// A place for a block of `size` bytes in code or calibration, on a multiple of 256.
std::uint64_t place_for(const Layout& at, std::uint64_t size, Draw& draw) {
  return draw.between(at.code / 256, (at.unused - size) / 256 - 8) * 256;
}

struct Kind {
  DamageKind kind;
  const char* what;
};
constexpr std::array<Kind, 15> kKinds = {
    {{DamageKind::kTruncated, "cut off, 1 byte to three quarters"},
     {DamageKind::kPadded, "1 byte to 64 KiB of filling behind"},
     {DamageKind::kBlank, "block of 256 bytes to 16 KiB erased or zero"},
     {DamageKind::kStuck, "the same, one other byte or a pattern of 2 or 4"},
     {DamageKind::kRepeated, "the same, holds another block"},
     {DamageKind::kMirrored, "upper parts repeat the lowest; or the file goes round"},
     {DamageKind::kShifted, "1 byte to 4 KiB lost or added: before, or in the middle"},
     {DamageKind::kSwapped16, "bytes of 16-bit words exchanged"},
     {DamageKind::kSwapped32, "bytes of 32-bit words reversed"},
     {DamageKind::kSecondImage, "another image behind, or in the unused space"},
     {DamageKind::kNoise, "block of 1 to 16 KiB random"},
     {DamageKind::kGaps, "HEX file without 32 bytes to 4 KiB"},
     {DamageKind::kOpaque, "all encrypted"},
     {DamageKind::kOneByte, "one bit turned over in 1 to 3 checked parts"},
     {DamageKind::kUnexplained, "2 to 8 bits turned over in one checked part"}}};

Bytes hex_of(const Bytes& bytes, Range without) {
  std::vector<Segment> segments;
  const auto part = [&](std::uint64_t begin, std::uint64_t end) {
    if (begin < end)
      segments.push_back({begin, Bytes(bytes.begin() + static_cast<std::ptrdiff_t>(begin),
                                       bytes.begin() + static_cast<std::ptrdiff_t>(end))});
  };
  part(0, without.begin);
  part(without.end, bytes.size());
  const std::string text = write_intel_hex(segments);
  return Bytes(text.begin(), text.end());
}

Bytes damaged(DamageKind kind, const Bytes& good, const Bytes& other, const Layout& at, Draw& draw) {
  Bytes bytes = good;
  const std::uint64_t size = std::uint64_t{256} << draw.between(0, 6);
  const std::uint64_t block = place_for(at, size, draw);
  const auto begin = [&](std::uint64_t offset) {
    return bytes.begin() + static_cast<std::ptrdiff_t>(offset);
  };
  switch (kind) {
    case DamageKind::kTruncated:
      bytes.resize(at.size - (draw.between(0, 1) ? draw.between(1, 64) : draw.between(1, at.size / 4 * 3)));
      break;
    case DamageKind::kPadded: {
      const std::uint8_t fill = draw.byte();
      const bool random = draw.between(0, 2) == 0;
      const std::uint64_t more = std::uint64_t{1} << draw.between(0, 16);
      for (std::uint64_t i = 0; i < more; ++i) bytes.push_back(random ? draw.byte() : fill);
      break;
    }
    case DamageKind::kBlank:
      std::fill_n(begin(block), size, static_cast<std::uint8_t>(draw.between(0, 1) ? 0xff : 0));
      break;
    case DamageKind::kStuck: {
      const std::uint64_t period = std::uint64_t{1} << draw.between(0, 2);
      std::array<std::uint8_t, 4> pattern{};
      for (auto& byte : pattern) byte = static_cast<std::uint8_t>(draw.between(1, 254));
      for (std::uint64_t i = 0; i < size; ++i) bytes[block + i] = pattern[i % period];
      break;
    }
    case DamageKind::kRepeated: {
      std::uint64_t from = block;
      while (from < block + size && block < from + size) from = place_for(at, size, draw);
      std::copy_n(good.begin() + static_cast<std::ptrdiff_t>(from), size, begin(block));
      break;
    }
    case DamageKind::kMirrored:
      if (draw.between(0, 1)) {
        const std::uint64_t period = at.size >> draw.between(1, 3);
        for (std::uint64_t i = period; i < at.size; ++i) bytes[i] = bytes[i - period];
      } else {
        bytes.insert(bytes.end(), good.begin(),
                     good.begin() + static_cast<std::ptrdiff_t>(draw.between(0, 1) ? at.size : at.size / 2));
      }
      break;
    case DamageKind::kShifted: {
      const std::uint64_t by = draw.between(0, 1) ? draw.between(1, 15) : draw.between(16, 4096);
      switch (draw.between(0, 3)) {
        case 0:  // before, size kept
          bytes.insert(bytes.begin(), by, 0);
          bytes.resize(at.size);
          break;
        case 1:  // before
          bytes.insert(bytes.begin(), by, 0xff);
          break;
        case 2:  // lost before, as far as the rule's own bytes still stand
          bytes.erase(bytes.begin(), begin(std::min<std::uint64_t>(by, 16)));
          break;
        default:  // lost in the code
          bytes.erase(begin(block), begin(block + by));
      }
      break;
    }
    case DamageKind::kSwapped16:
    case DamageKind::kSwapped32: {
      const std::uint64_t group = kind == DamageKind::kSwapped16 ? 2 : 4;
      for (std::uint64_t i = 0; i < at.size; i += group) std::reverse(begin(i), begin(i + group));
      break;
    }
    case DamageKind::kSecondImage:
      if (draw.between(0, 1)) {
        bytes.insert(bytes.end(), other.begin(), other.end());
      } else {
        const std::uint64_t room = at.learned - at.unused;
        std::copy_n(other.begin(), draw.between(0x400, room), begin(at.unused));
      }
      break;
    case DamageKind::kNoise:
      for (std::uint64_t i = 0; i < std::max<std::uint64_t>(size, 1024); ++i)
        bytes[block / 1024 * 1024 + i] = draw.byte();
      break;
    case DamageKind::kGaps: {
      const std::uint64_t hole = std::uint64_t{32} << draw.between(0, 7);
      return hex_of(good, {block + 32, block + 32 + hole});
    }
    case DamageKind::kOpaque:
      for (auto& byte : bytes) byte ^= draw.byte();
      break;
    case DamageKind::kOneByte: {
      const std::uint64_t first = draw.between(0, 4);
      for (std::uint64_t i = draw.between(1, 3); i > 0; --i) {
        const Range part = at.part((first + i) % 5);
        bytes[draw.between(part.begin, part.end - 1)] ^= static_cast<std::uint8_t>(1 << draw.between(0, 7));
      }
      break;
    }
    case DamageKind::kUnexplained: {
      const Range part = at.part(draw.between(0, 4));
      for (std::uint64_t i = draw.between(2, 8); i > 0; --i)
        bytes[draw.between(part.begin, part.end - 1)] ^= static_cast<std::uint8_t>(1 << draw.between(0, 7));
      break;
    }
  }
  return bytes;
}

// One byte was named for every one that is wrong, and no other.
bool places_right(const ReadJudgement& judgement, const Bytes& good) {
  const Bytes& read = judgement.read.image.memories.front().bytes;
  std::size_t wrong = 0;
  for (std::size_t i = 0; i < good.size(); ++i) {
    if (read[i] == good[i]) continue;
    ++wrong;
    const std::string place = "flash " + address_text(i);
    if (std::ranges::none_of(judgement.damage, [&](const Damage& d) { return d.place == place; }))
      return false;
  }
  return wrong == judgement.damage.size();
}

// What was drawn, and what it was judged to be: read and first read as files, and a line of index.jsonl. The
// first read is a good one of the same memory.
class Collection {
 public:
  explicit Collection(const char* folder) : folder_(folder ? folder : "") {}

  void keep(std::string_view damage, const Bytes& first, const Bytes& read, const Layout& at,
            const Result<ReadJudgement>& judgement) {
    if (folder_.empty()) return;
    const std::string name = std::to_string(count_++);
    write(name + ".first", text_of(first), std::ios::trunc);
    write(name + ".read", text_of(read), std::ios::trunc);
    const bool sound = judgement && judgement->sound();
    const std::string named = judgement && !judgement->damage.empty()
                                  ? std::string(damage_name(judgement->damage.front().kind))
                                  : "";
    write("index.jsonl",
          R"({"name":")" + name + R"(","damage":")" + std::string(damage) + R"(","size":)" +
              std::to_string(at.size) + R"(,"sound":)" + (sound ? "true" : "false") + R"(,"named":")" +
              named + "\"}\n",
          count_ == 1 ? std::ios::trunc : std::ios::app);
  }

 private:
  static std::string text_of(const Bytes& bytes) { return std::string(bytes.begin(), bytes.end()); }

  void write(const std::string& name, const std::string& text, std::ios::openmode mode) const {
    std::ofstream out(folder_ + "/" + name, std::ios::binary | mode);
    if (!(out << text).flush()) {
      std::fprintf(stderr, "%s/%s cannot be written\n", folder_.c_str(), name.c_str());
      std::exit(3);
    }
  }

  std::string folder_;
  int count_ = 0;
};

// The same controller after a drive: every learned value is another one.
Bytes driven(Bytes bytes, const Layout& at, Draw& draw) {
  for (std::uint64_t i = at.learned; i < at.tail; ++i) bytes[i] = draw.between(0, 3) == 0 ? draw.byte() : 0;
  return bytes;
}

struct Row {
  int tried = 0, detected = 0, named = 0, named_anywhere = 0;
};

}  // namespace

int main(int argc, char** argv) {
  const std::uint64_t first = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 1;
  Collection collection(argc > 2 ? argv[2] : nullptr);
  std::array<Row, kKinds.size()> rows{};
  const auto start = std::chrono::steady_clock::now();
  const auto judged = [](const RegionMap& map, Bytes bytes) {
    return judge_read(map, {{"", "read", std::move(bytes)}}, {});
  };
  std::string missed;
  for (int i = 0; i < kDamaged; ++i) {
    Draw draw(first + static_cast<std::uint64_t>(i));
    const Layout at(std::uint64_t{0x20000} << draw.between(0, 1));
    const RegionMap map = make_map(at);
    const Bytes good = make_image(map, at, draw), other = make_image(map, at, draw);
    const std::size_t k = static_cast<std::size_t>(i) % kKinds.size();
    Bytes bad = damaged(kKinds[k].kind, good, other, at, draw);
    while (bad == good) bad = damaged(kKinds[k].kind, good, other, at, draw);  // blanks laid over blanks
    const auto judgement = judged(map, bad);
    collection.keep(damage_name(kKinds[k].kind),
                    kKinds[k].kind == DamageKind::kGaps ? hex_of(good, {}) : good, bad, at, judgement);
    Row& row = rows[k];
    ++row.tried;
    if (!judgement || !judgement->sound()) ++row.detected;
    const bool right = judgement && !judgement->damage.empty() &&
                       judgement->damage.front().kind == kKinds[k].kind &&
                       (kKinds[k].kind != DamageKind::kOneByte || places_right(*judgement, good));
    if (right) ++row.named;
    if (judgement &&
        std::ranges::any_of(judgement->damage, [&](const Damage& d) { return d.kind == kKinds[k].kind; }))
      ++row.named_anywhere;
    if (right) continue;
    missed += "seed " + std::to_string(first + static_cast<std::uint64_t>(i)) + ": " +
              std::string(damage_name(kKinds[k].kind)) + " named ";
    if (!judgement) {
      missed += "as error " + std::string(code(judgement.error().reason));
    } else if (judgement->damage.empty()) {
      missed += "nothing";
    } else {
      const Damage& d = judgement->damage.front();
      missed += std::string(damage_name(d.kind)) + ", " + d.place + ", " + d.found;
    }
    missed += "\n";
  }
  int alarms = 0;
  for (int i = 0; i < kGood; ++i) {
    Draw draw(first + 1000000 + static_cast<std::uint64_t>(i));
    const Layout at(std::uint64_t{0x20000} << draw.between(0, 1));
    const RegionMap map = make_map(at);
    const Bytes good = make_image(map, at, draw);
    const Bytes before = driven(good, at, draw);
    const auto in_form = [&](const Bytes& bytes) { return i % 2 == 0 ? bytes : hex_of(bytes, {}); };
    const auto judgement = judged(map, in_form(good));
    collection.keep("", in_form(before), in_form(good), at, judgement);
    if (!judgement || !judgement->sound()) ++alarms;
  }
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  std::printf(
      "| damage | how | reads | detected | named first | named |\n| --- | --- | ---: | ---: | ---: | ---: "
      "|\n");
  Row sum;
  for (std::size_t k = 0; k < kKinds.size(); ++k) {
    const Row& row = rows[k];
    std::printf("| `%s` | %s | %d | %d | %d | %d |\n", std::string(damage_name(kKinds[k].kind)).c_str(),
                kKinds[k].what, row.tried, row.detected, row.named, row.named_anywhere);
    sum.tried += row.tried;
    sum.detected += row.detected;
    sum.named += row.named;
    sum.named_anywhere += row.named_anywhere;
  }
  std::printf("| all | | %d | %d | %d | %d |\n\nGood reads: %d, false alarms: %d. First seed %llu.\n",
              sum.tried, sum.detected, sum.named, sum.named_anywhere, kGood, alarms,
              static_cast<unsigned long long>(first));
  std::fprintf(stderr, "%s%.1f s\n", missed.c_str(), seconds);
  return 0;
}
