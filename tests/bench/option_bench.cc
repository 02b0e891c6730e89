// Composing, correcting and accounting for 30 options on an image of 4 MiB, as calseal compose does after its
// files are read. What is composed is compared with the edits laid on by hand before anything is timed.
//
// usage: option_bench [Google Benchmark's options]
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "calseal/map/read.h"
#include "calseal/option/account.h"
#include "calseal/option/compose.h"

namespace {

using namespace calseal;

constexpr std::size_t kSize = std::size_t{4} << 20;
constexpr std::uint64_t kCalibration = 0x280000;
constexpr std::size_t kOptions = 30, kEdits = 40, kEditBytes = 24;

// Seven blocks of 64 KiB with a CRC-32 each, and a CRC-32 over the whole flash but its own slot.
std::string map_text() {
  return R"({"calseal":"region-map/1","name":"bench","controller":"engine","version":1,
"memories":[{"name":"flash","origin":"0x00000000","size":4194304}],
"regions":[{"name":"calibration","memory":"flash","start":"0x00280000","size":"0x70000","policy":"editable"}],
"checksums":[{"name":"blocks","repeat":7,"algorithm":{"crc":"CRC-32/ISO-HDLC"},
"coverage":[{"memory":"flash","start":"0x00280000","size":"0xfffc","stride":"0x10000"}],
"slots":[{"memory":"flash","at":"0x0028fffc","size":4,"stride":"0x10000"}]},
{"name":"whole","algorithm":{"crc":"CRC-32/ISO-HDLC"},"coverage":[{"memory":"flash","start":"0x00000000","size":"0x3ffffc"}],
"slots":[{"memory":"flash","at":"0x003ffffc","size":4}]}],
"evidence":{"author":"bench","verified_on":[],"guesses":[],"grade":"draft"}})";
}

template <typename T>
T must(Result<T> result) {
  if (!result) {
    std::fprintf(stderr, "%s %s: %s\n", std::string(code(result.error().reason)).c_str(),
                 result.error().place.c_str(), result.error().found.c_str());
    std::exit(1);
  }
  return *std::move(result);
}

struct Bench {
  RegionMap map;
  Image base;
  Plan plan;
  std::vector<OptionFile> options;

  Bench() {
    const std::string text = map_text();
    map = must(parse_region_map(Bytes(text.begin(), text.end()), "bench.json"));
    base = blank_image(map);
    std::mt19937_64 engine(20261125);
    for (std::uint8_t& byte : base.memories[0].bytes) byte = static_cast<std::uint8_t>(engine());
    base.memories[0].known = RangeSet(base.memories[0].extent);
    plan = must(make_plan(map, base));
    must(correct(plan, base));
    for (std::size_t i = 0; i < kOptions; ++i) options.push_back(draw(i, engine));
  }

  // Each in stripes of its own.
  OptionFile draw(std::size_t index, std::mt19937_64& engine) const {
    Option option;
    option.name = "option-" + std::to_string(index);
    option.title = option.name;
    option.controller = map.controller;
    option.region_map = map.name;
    for (std::size_t k = 0; k < kEdits; ++k) {
      const std::uint64_t at = kCalibration + (k * kOptions + index) * 0x100 + engine() % 0x40;
      OptionEdit edit{"flash", "", at, {}, {}};
      const ByteView view = base.memories[0].view({at, at + kEditBytes});
      edit.before.assign(view.begin(), view.end());
      for (const std::uint8_t byte : edit.before)
        edit.after.push_back(static_cast<std::uint8_t>(byte ^ 0x5a));
      option.edits.push_back(std::move(edit));
    }
    const std::string text = write_option(option);
    return must(parse_option(Bytes(text.begin(), text.end()), option.name));
  }
};

}  // namespace

int main(int argc, char** argv) {
  const Bench bench;
  Image by_hand = bench.base;
  for (const OptionFile& option : bench.options) {
    for (const OptionEdit& edit : option.option.edits)
      std::ranges::copy(edit.after, by_hand.memories[0].span({edit.at, edit.at + edit.after.size()}).begin());
  }
  must(correct(bench.plan, by_hand));
  const Composition composed = must(compose(bench.plan, bench.base, bench.options, {}));
  const Account account = must(make_account(bench.plan, bench.base, composed.image, bench.options));
  if (!composed.holds() || composed.image.memories[0].bytes != by_hand.memories[0].bytes ||
      !account.is_complete() || account.bytes(Origin::kOption) != kOptions * kEdits * kEditBytes) {
    std::fprintf(stderr, "the composition is not what its edits are\n");
    return 1;
  }
  benchmark::RegisterBenchmark("compose, correct and account, 4 MiB, 30 options", [&](benchmark::State&
                                                                                          state) {
    for (auto _ : state) {
      const Plan plan = must(make_plan(bench.map, bench.base));
      const Composition result = must(compose(plan, bench.base, bench.options, {}));
      benchmark::DoNotOptimize(
          must(make_account(plan, bench.base, result.image, bench.options)).entries.size());
    }
  })->Unit(benchmark::kMillisecond);
  benchmark::Initialize(&argc, argv);
  benchmark::RunSpecifiedBenchmarks();
}
