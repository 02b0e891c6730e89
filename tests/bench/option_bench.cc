// Composition, correction and account of a 4 MiB image with 30 options: medians over many runs.
//
// usage: option_bench fixtures/demo/engine.regions.json FLASH EEPROM [FOLDER]
// The two files are engine-a-flash.bin and engine-a-eeprom.bin of calseal-demo-data. With FOLDER the 30
// options are written there, to time the program itself.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <random>
#include <string>
#include <vector>

#include "calseal/base/file.h"
#include "calseal/map/read.h"
#include "calseal/option/account.h"
#include "calseal/option/compose.h"

namespace {

using namespace calseal;

constexpr int kOptions = 30;
constexpr int kEdits = 40;  // of each option
constexpr int kRuns = 60;

template <typename T>
T must(Result<T> result) {
  if (!result) {
    std::fprintf(stderr, "%s %s: found %s\n", std::string(code(result.error().reason)).c_str(),
                 result.error().place.c_str(), result.error().found.c_str());
    std::exit(1);
  }
  return *std::move(result);
}

// Words of curves and tables, every option in words of its own.
std::vector<OptionFile> make_options(const RegionMap& map, const Image& base) {
  std::mt19937_64 random(30);
  std::vector<OptionFile> options;
  for (int i = 0; i < kOptions; ++i) {
    Option option;
    option.name = "option-" + std::to_string(i);
    option.title = "Option " + std::to_string(i);
    option.controller = map.controller;
    option.region_map = map.name;
    for (int k = 0; k < kEdits; ++k) {
      const std::uint64_t slot = static_cast<std::uint64_t>(k * kOptions + i);
      const std::uint64_t at = 0x802a0040 + slot * 16;  // tables
      const ByteView before = base.memories[0].view({at, at + 8});
      Bytes after(before.begin(), before.end());
      for (std::uint8_t& byte : after) byte = static_cast<std::uint8_t>(random());
      option.edits.push_back({"flash", "", at, Bytes(before.begin(), before.end()), after});
    }
    const std::string text = write_option(option);
    options.push_back(must(parse_option(Bytes(text.begin(), text.end()), option.name)));
  }
  return options;
}

double milliseconds_since(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
}

void print_median(const char* what, std::vector<double> times) {
  std::ranges::sort(times);
  std::printf("%-34s %8.2f ms median, %8.2f ms worst of %zu\n", what, times[times.size() / 2], times.back(),
              times.size());
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 4) {
    std::fprintf(stderr, "usage: option_bench REGIONS FLASH EEPROM [FOLDER]\n");
    return 2;
  }
  const RegionMap map = must(parse_region_map(must(read_file(argv[1], kRegionMapSizeLimit)), argv[1]));
  const Read read = must(load_read(map, {{"flash", argv[2], must(read_file(argv[2], kReadFileLimit))},
                                         {"eeprom", argv[3], must(read_file(argv[3], kReadFileLimit))}}));
  const std::vector<OptionFile> options = make_options(map, read.image);
  for (const OptionFile& option : options) {
    if (argc > 4) {
      const Status written =
          write_file(std::string(argv[4]) + "/" + option.option.name + ".json", option.text);
      if (!written) return 1;
    }
  }
  std::vector<double> planning, composing, accounting, together;
  for (int i = 0; i < kRuns; ++i) {
    const auto start = std::chrono::steady_clock::now();
    const Plan plan = must(make_plan(map, read.image));
    planning.push_back(milliseconds_since(start));
    const auto planned = std::chrono::steady_clock::now();
    const Composition composition = must(compose(plan, read.image, options, {}));
    composing.push_back(milliseconds_since(planned));
    const auto composed = std::chrono::steady_clock::now();
    const Account account = must(make_account(plan, read.image, composition.image, options));
    accounting.push_back(milliseconds_since(composed));
    together.push_back(milliseconds_since(start));
    if (!composition.holds() || !account.is_complete()) {
      std::fprintf(stderr, "not composed, or not accounted for\n");
      return 1;
    }
  }
  print_median("plan", planning);
  print_median("composition and correction", composing);
  print_median("account", accounting);
  print_median("all three", together);
  return 0;
}
