// Whether the fast CRC kernel loses to the tables at any length: prints, for every length up to 1100 bytes,
// each kernel's time as a share of the table's, worst first. Times are the least of many batches, which a
// busy machine does not disturb; the two take turns.
//
// usage: crc_lengths [BATCHES]
#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "calseal/digest/catalogue.h"
#include "calseal/digest/crc.h"

namespace {

using calseal::Bytes;
using calseal::ByteView;
using calseal::Crc;
using calseal::CrcKernel;

constexpr std::size_t kLongest = 1100;
constexpr int kCalls = 100;

// Nanoseconds a call; every call waits for the value of the one before.
double time_batch(const Crc& crc, ByteView data, std::uint64_t& state) {
  const auto begin = std::chrono::steady_clock::now();
  for (int i = 0; i < kCalls; ++i) state = crc.update(state, data);
  const std::chrono::duration<double, std::nano> spent = std::chrono::steady_clock::now() - begin;
  return spent.count() / kCalls;
}

struct Row {
  std::size_t length;
  double table;
  double fold;
};

void compare(const char* name, CrcKernel kernel, const char* kernel_name, int batches) {
  const auto parameters = calseal::parameters_of(*calseal::find_catalogue_entry(name));
  const Crc table(*parameters, CrcKernel::kTable);
  const Crc fold(*parameters, kernel);
  Bytes data(kLongest);
  for (std::size_t i = 0; i < data.size(); ++i) data[i] = static_cast<std::uint8_t>(i * 37 + 11);
  std::vector<Row> rows;
  for (std::size_t length = 0; length <= kLongest; ++length) {
    const ByteView piece = ByteView(data).first(length);
    if (table.compute(piece) != fold.compute(piece)) {
      std::fprintf(stderr, "%s: the kernels disagree at %zu bytes\n", name, length);
      std::exit(1);
    }
    Row row{length, 1e9, 1e9};
    std::uint64_t state = table.start();
    for (int i = 0; i < batches; ++i) {
      row.table = std::min(row.table, time_batch(table, piece, state));
      row.fold = std::min(row.fold, time_batch(fold, piece, state));
    }
    rows.push_back(row);
  }
  const auto slower =
      std::count_if(rows.begin(), rows.end(), [](const Row& r) { return r.fold > r.table * 1.03; });
  std::printf("%s, %s: %td of %zu lengths slower than the table by more than 3 %%\n", name, kernel_name,
              slower, rows.size());
  std::printf("  short:");
  for (const std::size_t length :
       {1U, 3U, 4U, 7U, 8U, 12U, 15U, 16U, 17U, 24U, 31U, 32U, 48U, 64U, 100U, 255U, 256U, 1024U}) {
    std::printf(" %zu:%.1f/%.1f", length, rows[length].fold, rows[length].table);
  }
  std::printf(" (ns, kernel/table)\n  worst:");
  std::sort(rows.begin(), rows.end(),
            [](const Row& a, const Row& b) { return a.fold / a.table > b.fold / b.table; });
  for (std::size_t i = 0; i < 8; ++i) std::printf(" %zu:%.2f", rows[i].length, rows[i].fold / rows[i].table);
  std::printf(" (length:share)\n");
}

}  // namespace

int main(int argc, char** argv) {
  const int batches = argc > 1 ? std::atoi(argv[1]) : 100;
  const struct {
    CrcKernel kernel;
    const char* name;
  } kernels[] = {
      {CrcKernel::kFold128, "128-bit"}, {CrcKernel::kFold256, "256-bit"}, {CrcKernel::kFold512, "512-bit"}};
  for (const char* name : {"CRC-32/ISO-HDLC", "CRC-16/IBM-3740", "CRC-64/XZ", "CRC-8/SAE-J1850"}) {
    for (const auto& [kernel, kernel_name] : kernels) {
      if (calseal::crc_kernel_available(kernel)) compare(name, kernel, kernel_name, batches);
    }
  }
}
