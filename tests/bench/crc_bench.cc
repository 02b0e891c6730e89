// CRC kernels beside zlib, ISA-L, libdeflate and boost::crc, in one run. Every contender's value is compared
// before anything is timed. Repetitions of all contenders take turns, times are processor time, and medians
// are printed: a console table, then the Markdown table of docs/measurements.md.
//
// usage: crc_bench [Google Benchmark's options]
#include <benchmark/benchmark.h>
#include <isa-l/crc.h>
#include <libdeflate.h>
#include <zlib.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "calseal/digest/catalogue.h"
#include "calseal/digest/crc.h"

namespace {

using calseal::Bytes;
using calseal::ByteView;
using calseal::Crc;
using calseal::CrcKernel;

constexpr std::size_t kSizes[] = {64, 4096, std::size_t{4} << 20};
constexpr const char* kCrc32 = "CRC-32/ISO-HDLC";
constexpr const char* kCcittFalse = "CRC-16/IBM-3740";

using Function = std::function<std::uint64_t(ByteView)>;

struct Contender {
  std::string name;
  Function function;
  std::string algorithm;  // a name of the catalogue
};

Crc named(const std::string& name, CrcKernel kernel = calseal::best_crc_kernel()) {
  return Crc(*calseal::parameters_of(*calseal::find_catalogue_entry(name)), kernel);
}

Contender ours(std::string label, const std::string& algorithm, CrcKernel kernel) {
  return {std::move(label), [crc = named(algorithm, kernel)](ByteView data) { return crc.compute(data); },
          algorithm};
}

template <typename Peer>
Function boost_crc() {
  return [](ByteView data) {
    Peer peer;
    peer.process_bytes(data.data(), data.size());
    return std::uint64_t{peer.checksum()};
  };
}

std::vector<Contender> peers_and_kernels() {
  std::vector<Contender> all;
  const struct {
    CrcKernel kernel;
    const char* name;
  } kernels[] = {{CrcKernel::kTable, "tables"},
                 {CrcKernel::kFold128, "128-bit"},
                 {CrcKernel::kFold256, "256-bit"},
                 {CrcKernel::kFold512, "512-bit"}};
  for (const char* algorithm : {kCrc32, kCcittFalse}) {
    all.push_back(ours(std::string(algorithm) + " calseal", algorithm, calseal::best_crc_kernel()));
    for (const auto& [kernel, name] : kernels) {
      if (!calseal::crc_kernel_available(kernel)) continue;
      all.push_back(ours(std::string(algorithm) + " calseal " + name, algorithm, kernel));
    }
  }
  const std::string crc32 = kCrc32;
  all.push_back({crc32 + " zlib", [](ByteView d) { return crc32_z(0, d.data(), d.size()); }, crc32});
  all.push_back({crc32 + " ISA-L", [](ByteView d) { return crc32_gzip_refl(0, d.data(), d.size()); }, crc32});
  all.push_back(
      {crc32 + " libdeflate", [](ByteView d) { return libdeflate_crc32(0, d.data(), d.size()); }, crc32});
  all.push_back({crc32 + " boost::crc", boost_crc<boost::crc_32_type>(), crc32});
  all.push_back({std::string(kCcittFalse) + " boost::crc", boost_crc<boost::crc_ccitt_type>(), kCcittFalse});
  return all;
}

// The first algorithm of every width from 8 to 64 in each direction.
std::vector<Contender> widths() {
  std::map<std::pair<int, bool>, std::string> chosen;
  for (const calseal::CatalogueEntry& entry : calseal::crc_catalogue()) {
    if (entry.width >= 8 && entry.width <= 64) chosen.try_emplace({entry.width, entry.refin}, entry.name);
  }
  std::vector<Contender> all;
  for (const auto& [width, algorithm] : chosen) {
    all.push_back(ours("width " + algorithm, algorithm, calseal::best_crc_kernel()));
  }
  return all;
}

// Collects medians of bytes a second, by "contender/size".
class Medians : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    ConsoleReporter::ReportRuns(runs);
    for (const Run& run : runs) {
      if (run.aggregate_name != "median") continue;
      const auto rate = run.counters.find("bytes_per_second");
      if (rate != run.counters.end()) rates_[run.run_name.function_name] = rate->second;
    }
  }
  double of(const std::string& contender, std::size_t size) const {
    const auto rate = rates_.find(contender + "/" + std::to_string(size));
    return rate == rates_.end() ? 0 : rate->second;
  }

 private:
  std::map<std::string, double> rates_;
};

const char* size_name(std::size_t size) { return size == 64 ? "64 B" : size == 4096 ? "4 KiB" : "4 MiB"; }

void print_markdown(const Medians& medians, const std::vector<Contender>& first,
                    const std::vector<Contender>& second) {
  std::printf("\n| GB/s, median |");
  for (const std::size_t size : kSizes) std::printf(" %s |", size_name(size));
  std::printf("\n| --- | --- | --- | --- |\n");
  for (const Contender& contender : first) {
    std::printf("| %s |", contender.name.c_str());
    for (const std::size_t size : kSizes) std::printf(" %.2f |", medians.of(contender.name, size) / 1e9);
    std::printf("\n");
  }
  const std::string mine = std::string(kCrc32) + " calseal";
  const auto ratio = [&](const char* what, const std::string& a, const std::string& b) {
    std::printf("| %s |", what);
    for (const std::size_t size : kSizes) std::printf(" %.2f |", medians.of(a, size) / medians.of(b, size));
    std::printf("\n");
  };
  std::printf("\n| ratio | 64 B | 4 KiB | 4 MiB |\n| --- | --- | --- | --- |\n");
  ratio("CRC-32 / ISA-L", mine, std::string(kCrc32) + " ISA-L");
  ratio("CRC-32 / libdeflate", mine, std::string(kCrc32) + " libdeflate");
  ratio("CRC-32 by 128 bits / libdeflate", mine + " 128-bit", std::string(kCrc32) + " libdeflate");
  ratio("CRC-32 / zlib", mine, std::string(kCrc32) + " zlib");
  ratio("CRC-32 / boost::crc", mine, std::string(kCrc32) + " boost::crc");
  ratio("CRC-16/IBM-3740 / boost::crc", std::string(kCcittFalse) + " calseal",
        std::string(kCcittFalse) + " boost::crc");
  std::printf("| slowest width 8..64 / CRC-32 |");
  std::string names;
  for (const std::size_t size : kSizes) {
    const auto slowest = std::min_element(second.begin(), second.end(), [&](const auto& a, const auto& b) {
      return medians.of(a.name, size) < medians.of(b.name, size);
    });
    std::printf(" %.2f |", medians.of(slowest->name, size) / medians.of(mine, size));
    names += " " + slowest->algorithm;
  }
  std::printf("\n\n%zu algorithms of widths 8 to 64; slowest:%s\n", second.size(), names.c_str());
}

}  // namespace

int main(int argc, char** argv) {
  Bytes data(kSizes[2]);
  std::uint64_t word = 1;
  for (std::uint8_t& byte : data)
    byte = static_cast<std::uint8_t>((word = word * 6364136223846793005U + 1) >> 56);

  const std::vector<Contender> first = peers_and_kernels();
  const std::vector<Contender> second = widths();
  for (const auto* contenders : {&first, &second}) {
    for (const Contender& contender : *contenders) {
      const Crc tables = named(contender.algorithm, CrcKernel::kTable);
      for (const std::size_t size : kSizes) {
        const ByteView piece = ByteView(data).first(size);
        if (contender.function(piece) != tables.compute(piece)) {
          std::fprintf(stderr, "%s: wrong value over %zu bytes\n", contender.name.c_str(), size);
          return 1;
        }
        benchmark::RegisterBenchmark(
            (contender.name + "/" + std::to_string(size)).c_str(),
            [piece, function = contender.function](benchmark::State& state) {
              for (auto _ : state) benchmark::DoNotOptimize(function(piece));
              state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(piece.size()));
            });
      }
    }
  }
  // Not about bytes a second: making an object.
  for (const CrcKernel kernel : {CrcKernel::kTable, calseal::best_crc_kernel()}) {
    const std::string label = kernel == CrcKernel::kTable ? " by tables" : "";
    benchmark::RegisterBenchmark(("construct" + label).c_str(), [kernel](benchmark::State& state) {
      const auto parameters = *calseal::parameters_of(*calseal::find_catalogue_entry(kCrc32));
      for (auto _ : state) benchmark::DoNotOptimize(Crc(parameters, kernel));
    });
  }
  std::vector<char*> arguments(argv, argv + argc);
  std::string defaults[] = {"--benchmark_repetitions=9", "--benchmark_min_time=0.02",
                            "--benchmark_enable_random_interleaving=true",
                            "--benchmark_report_aggregates_only=true"};
  for (std::string& option : defaults) arguments.insert(arguments.begin() + 1, option.data());
  int count = static_cast<int>(arguments.size());
  benchmark::Initialize(&count, arguments.data());
  Medians medians;
  benchmark::RunSpecifiedBenchmarks(&medians);
  print_markdown(medians, first, second);
}
