#include "calseal/study/search_algorithms.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "calseal/base/text.h"
#include "calseal/digest/catalogue.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 12> kCommonCrcs = {
    "CRC-16/ARC",    "CRC-16/IBM-3740", "CRC-16/IBM-SDLC", "CRC-16/KERMIT",
    "CRC-16/MODBUS", "CRC-16/XMODEM",   "CRC-32/AUTOSAR",  "CRC-32/BZIP2",
    "CRC-32/ISCSI",  "CRC-32/ISO-HDLC", "CRC-32/JAMCRC",   "CRC-32/MPEG-2"};

void add_crcs(std::vector<SearchAlgorithm>& list) {
  for (const CatalogueEntry& entry : crc_catalogue()) {
    const auto parameters = parameters_of(entry);
    if (!parameters) continue;  // wider than 64 bits
    SearchAlgorithm one;
    one.algorithm.kind = AlgorithmKind::kCrc;
    one.algorithm.name = entry.name;
    one.algorithm.crc = *parameters;
    one.catalogue = entry.name;
    one.bits = entry.width;
    one.size = static_cast<std::size_t>((entry.width + 7) / 8);
    one.cost = std::ranges::find(kCommonCrcs, entry.name) != kCommonCrcs.end() ? 0 : 1;
    list.push_back(std::move(one));
  }
}

constexpr double kCostDifference = 1;  // bits: that a find is one by difference

std::string sum_name(const SumParameters& sum) {
  std::string text = sum.operation == SumOperation::kXor ? "exclusive or" : "sum";
  text += " of " + std::to_string(sum.unit) + "-bit ";
  if (sum.unit > 8) text += sum.order == ByteOrder::kBig ? "big-endian " : "little-endian ";
  text += sum.unit == 8 ? "bytes" : "words";
  if (sum.operation == SumOperation::kAddEndAround) text += " with end-around carry";
  return text + " in " + std::to_string(sum.accumulator) + " bits";
}

void add_sum(std::vector<SearchAlgorithm>& list, int unit, SumOperation operation, int accumulator,
             bool common) {
  for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
    if (unit == 8 && order == ByteOrder::kBig) break;
    // Exclusive or, and the one's complement sum, do not care: the slot's order says it all.
    if (order == ByteOrder::kBig &&
        (operation == SumOperation::kXor || operation == SumOperation::kAddEndAround))
      break;
    SearchAlgorithm one;
    one.algorithm.kind = AlgorithmKind::kSum;
    one.algorithm.sum = {unit, order, operation, accumulator, 0};
    one.algorithm.name = sum_name(one.algorithm.sum);
    one.bits = accumulator;
    one.size = static_cast<std::size_t>(accumulator / 8);
    one.unit = static_cast<std::uint64_t>(unit / 8);
    one.cost = common ? 0 : 1;
    list.push_back(std::move(one));
  }
}

// Half of all weight for the polynomials of common CRCs.
void add_differences(std::vector<SearchAlgorithm>& list) {
  const std::size_t first = list.size();
  std::array<double, 2> counts{};
  for (std::size_t i = 0; i < first; ++i) {
    const SearchAlgorithm known = list[i];
    const CrcParameters& crc = known.algorithm.crc;
    const bool whole_bytes = known.bits == 16 || known.bits == 24 || known.bits == 32 || known.bits == 64;
    if (known.catalogue.empty() || !whole_bytes || crc.refin != crc.refout) continue;
    const CrcParameters linear{crc.width, crc.poly, 0, crc.refin, crc.refout, 0};
    const bool common = std::ranges::find(kCommonCrcs, known.catalogue) != kCommonCrcs.end();
    const auto same = std::find_if(list.begin() + static_cast<std::ptrdiff_t>(first), list.end(),
                                   [&](const SearchAlgorithm& one) { return one.algorithm.crc == linear; });
    if (same != list.end()) {
      if (common) same->cost = 0;
      continue;
    }
    SearchAlgorithm one = known;
    one.catalogue.clear();
    one.by_difference = true;
    one.algorithm.crc = linear;
    one.algorithm.name = "CRC-" + std::to_string(crc.width) + " over polynomial " +
                         hex_number(crc.poly, crc.width / 4) + (crc.refin ? ", reflected" : "") +
                         ", of unknown init and xorout";
    one.cost = common ? 0 : 1;
    list.push_back(std::move(one));
  }
  for (std::size_t i = first; i < list.size(); ++i) ++counts[list[i].cost == 0 ? 0 : 1];
  for (std::size_t i = first; i < list.size(); ++i)
    list[i].cost = std::log2(2 * counts[list[i].cost == 0 ? 0 : 1]) + kCostDifference;
}

std::vector<SearchAlgorithm> make_list() {
  std::vector<SearchAlgorithm> list;
  add_crcs(list);
  add_sum(list, 8, SumOperation::kAdd, 8, true);
  add_sum(list, 8, SumOperation::kAdd, 16, true);
  add_sum(list, 8, SumOperation::kAdd, 32, true);
  add_sum(list, 16, SumOperation::kAdd, 16, true);
  add_sum(list, 16, SumOperation::kAdd, 32, true);
  add_sum(list, 32, SumOperation::kAdd, 32, true);
  add_sum(list, 32, SumOperation::kAdd, 64, false);
  add_sum(list, 64, SumOperation::kAdd, 64, false);
  add_sum(list, 8, SumOperation::kXor, 8, true);
  add_sum(list, 16, SumOperation::kXor, 16, true);
  add_sum(list, 32, SumOperation::kXor, 32, true);
  add_sum(list, 64, SumOperation::kXor, 64, false);
  add_sum(list, 16, SumOperation::kAddEndAround, 16, true);
  add_sum(list, 32, SumOperation::kAddEndAround, 32, false);
  // Half of all weight for the common ones, an eighth for widths that hardly any controller keeps.
  const auto rank = [](const SearchAlgorithm& one) {
    return one.cost == 0 ? 0 : one.bits == 16 || one.bits == 32 || one.bits == 64 ? 1 : 2;
  };
  std::array<double, 3> counts{};
  for (const SearchAlgorithm& one : list) ++counts[static_cast<std::size_t>(rank(one))];
  constexpr std::array<double, 3> kWeights = {0.5, 0.375, 0.125};
  for (SearchAlgorithm& one : list) {
    const auto group = static_cast<std::size_t>(rank(one));
    one.cost = std::log2(counts[group] / kWeights[group]);
  }
  add_differences(list);
  return list;
}

}  // namespace

const std::vector<SearchAlgorithm>& search_algorithms() {
  static const std::vector<SearchAlgorithm> list = make_list();
  return list;
}

}  // namespace calseal
