#include "calseal/study/image_parts.h"

#include <algorithm>
#include <array>
#include <cstdlib>
#include <unordered_map>

#include "calseal/map/identity.h"
#include "calseal/study/damage.h"

namespace calseal {
namespace {

constexpr std::size_t kSector = 4096;
constexpr double kPacked = 7.5;   // bits per byte
constexpr double kSmooth = 0.55;  // share of neighbours that differ little
constexpr std::uint64_t kJoin = 16;
constexpr std::size_t kVin = 17;

bool is_unused(ByteView sector) {
  return std::ranges::all_of(sector, [&](std::uint8_t byte) { return byte == sector.front(); });
}

// Share of neighbouring words whose difference is small against their range, among those that are not equal.
double smoothness(ByteView sector, std::size_t word, bool big) {
  std::size_t near = 0, all = 0;
  const long limit = word == 1 ? 8 : 512;
  const auto at = [&](std::size_t i) {
    if (word == 1) return static_cast<long>(sector[i]);
    return static_cast<long>(big ? sector[i] << 8 | sector[i + 1] : sector[i + 1] << 8 | sector[i]);
  };
  for (std::size_t i = word; i + word <= sector.size(); i += word) {
    const long step = std::labs(at(i) - at(i - word));
    if (step == 0) continue;
    ++all;
    near += step <= limit ? 1 : 0;
  }
  return all < 64 ? 0 : static_cast<double>(near) / static_cast<double>(all);
}

PartLook look_of(ByteView sector, double bits) {
  if (is_unused(sector)) return PartLook::kUnused;
  if (bits > kPacked) return PartLook::kPacked;
  const double smooth =
      std::max({smoothness(sector, 1, false), smoothness(sector, 2, false), smoothness(sector, 2, true)});
  return smooth > kSmooth ? PartLook::kData : PartLook::kCode;
}

std::uint64_t hash_of(ByteView sector, bool complemented) {
  std::uint64_t hash = 0xcbf29ce484222325U;
  for (const std::uint8_t byte : sector) {
    hash = (hash ^ static_cast<std::uint8_t>(complemented ? ~byte : byte)) * 0x100000001b3U;
  }
  return hash;
}

}  // namespace

std::string_view part_look_name(PartLook look) {
  constexpr std::array<std::string_view, 4> kNames = {"unused", "data", "code", "packed"};
  return kNames[static_cast<std::size_t>(look)];
}

std::vector<ImagePart> find_parts(ByteView image) {
  std::vector<ImagePart> parts;
  std::size_t sectors = 0;  // of the last part
  for (std::size_t at = 0; at < image.size(); at += kSector) {
    const ByteView sector = image.subspan(at, std::min(kSector, image.size() - at));
    const double bits = entropy(sector);
    const PartLook look = look_of(sector, bits);
    if (parts.empty() || parts.back().look != look) {
      parts.push_back({{at, at}, look, 0});
      sectors = 0;
    }
    ImagePart& part = parts.back();
    part.range.end = at + sector.size();
    part.entropy = (part.entropy * static_cast<double>(sectors) + bits) / static_cast<double>(sectors + 1);
    ++sectors;
  }
  return parts;
}

std::vector<Repetition> find_repetitions(ByteView image, std::size_t most) {
  std::vector<Repetition> found;
  const std::size_t sectors = image.size() / kSector;
  const auto sector = [&](std::size_t i) { return image.subspan(i * kSector, kSector); };
  const auto equal = [&](std::size_t a, std::size_t b, bool complemented) {
    return std::ranges::equal(sector(a), sector(b), [&](std::uint8_t x, std::uint8_t y) {
      return x == static_cast<std::uint8_t>(complemented ? ~y : y);
    });
  };
  for (const bool complemented : {false, true}) {
    std::unordered_map<std::uint64_t, std::size_t> first;
    for (std::size_t i = 0; i < sectors; ++i) {
      if (is_unused(sector(i))) continue;
      const auto before = first.find(hash_of(sector(i), complemented));
      const bool again = before != first.end() && equal(before->second, i, complemented);
      if (again) {
        const Range a{before->second * kSector, (before->second + 1) * kSector},
            b{i * kSector, (i + 1) * kSector};
        if (!found.empty() && found.back().complemented == complemented &&
            found.back().first.end == a.begin && found.back().again.end == b.begin) {
          found.back().first.end = a.end;
          found.back().again.end = b.end;
        } else {
          found.push_back({a, b, complemented});
        }
      }
      if (!again || complemented) first.emplace(hash_of(sector(i), false), i);
    }
  }
  std::ranges::stable_sort(found, std::ranges::greater(),
                           [](const Repetition& one) { return one.first.size(); });
  if (found.size() > most) found.resize(most);
  return found;
}

RangeSet find_varying(const std::vector<ByteView>& images) {
  RangeSet varying;
  std::optional<Range> run;
  for (std::size_t i = 0; i < images.front().size(); ++i) {
    const bool same =
        std::ranges::all_of(images, [&](const ByteView& image) { return image[i] == images.front()[i]; });
    if (same) continue;
    if (run && i <= run->end + kJoin) {
      run->end = i + 1;
      continue;
    }
    if (run) varying.add(*run);
    run = Range{i, i + 1};
  }
  if (run) varying.add(*run);
  return varying;
}

std::vector<VinFound> find_vins(ByteView image) {
  std::vector<VinFound> found;
  const auto is_vin_character = [](std::uint8_t byte) {
    return (byte >= '0' && byte <= '9') || (byte >= 'A' && byte <= 'Z');
  };
  std::size_t run = 0;
  for (std::size_t i = 0; i <= image.size(); ++i) {
    if (i < image.size() && is_vin_character(image[i])) {
      ++run;
      continue;
    }
    if (run == kVin) {
      const std::string text(text_of(image.subspan(i - kVin, kVin)));
      const char check = vin_check_character(text);
      const bool mixed = std::ranges::any_of(text, [](char c) { return c >= 'A'; }) &&
                         std::ranges::any_of(text, [](char c) { return c <= '9'; });
      if (check != '\0' && text[8] == check && mixed) found.push_back({i - kVin, text});
    }
    run = 0;
  }
  return found;
}

}  // namespace calseal
