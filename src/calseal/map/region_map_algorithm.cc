// Reading the algorithm of a checksum: catalogue names, CRC and sum parameters.
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/digest/catalogue.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

// Passes on what the digest layer says about parameters.
void take_error(Draft& draft, const JsonNode& where, const Status& status) {
  if (status) return;
  const Error& error = status.error();
  draft.refuse(Phase::kChecksums, error.reason, where, error.found, error.expected, error.next);
}

void read_crc(Draft& draft, const JsonNode& node, Algorithm& algorithm) {
  algorithm.kind = AlgorithmKind::kCrc;
  if (node.is_text()) {
    const std::string name = node.text();
    const CatalogueEntry* entry = find_catalogue_entry(name);
    if (entry == nullptr) {
      draft.refuse(Phase::kNames, Reason::kMapName, node, "the CRC \"" + printable(name, 60) + "\"",
                   "a name or alias of the CRC catalogue, such as \"CRC-32/ISO-HDLC\"",
                   "correct the name, or give width, poly, init, refin, refout and xorout");
      return;
    }
    algorithm.name = std::string(entry->name);
    const auto parameters = parameters_of(*entry);
    if (!parameters) {
      take_error(draft, node, fail(parameters.error()));
      return;
    }
    algorithm.crc = *parameters;
    return;
  }
  JsonObject object(node);
  CrcParameters crc;
  crc.width = static_cast<int>(object.integer("width", 0, 1024));
  crc.poly = object.number("poly", 0, ~std::uint64_t{0});
  crc.init = object.number("init", 0, ~std::uint64_t{0});
  crc.refin = object.boolean("refin");
  crc.refout = object.boolean("refout");
  crc.xorout = object.number("xorout", 0, ~std::uint64_t{0});
  object.done();
  algorithm.name = "CRC of " + std::to_string(crc.width) + " bits, polynomial " + hex_number(crc.poly);
  const Status valid = validate_crc(crc);
  if (valid) algorithm.crc = crc;
  take_error(draft, node, valid);
}

void read_sum(Draft& draft, const JsonNode& node, Algorithm& algorithm) {
  algorithm.kind = AlgorithmKind::kSum;
  JsonObject object(node);
  SumParameters sum;
  sum.unit = static_cast<int>(object.integer("unit", 0, 1024));
  sum.order = read_order(object, false);
  std::size_t operation = 0;
  if (const auto written = object.optional("operation"))
    operation = written->choice({"add", "add-end-around", "xor"});
  sum.operation = static_cast<SumOperation>(operation);
  sum.accumulator =
      object.has("accumulator") ? static_cast<int>(object.integer("accumulator", 0, 1024)) : sum.unit;
  sum.init = object.has("init") ? object.number("init", 0, ~std::uint64_t{0}) : 0;
  object.done();
  const Status valid = validate_sum(sum);
  if (valid) algorithm.sum = sum;
  take_error(draft, node, valid);

  const char* const names[] = {"sum", "one's complement sum", "exclusive or"};
  algorithm.name =
      std::string(names[operation]) + " of " +
      (sum.unit == 8 ? "bytes"
                     : std::to_string(sum.unit) + "-bit " +
                           (sum.order == ByteOrder::kLittle ? "little" : "big") + "-endian words");
  if (sum.accumulator != sum.unit) algorithm.name += " in " + std::to_string(sum.accumulator) + " bits";
}

}  // namespace

Algorithm placeholder_algorithm() {
  Algorithm algorithm;
  algorithm.crc = {32, 0x04c11db7, 0, false, false, 0};
  return algorithm;
}

int read_width(const JsonNode& node, std::initializer_list<std::uint64_t> allowed) {
  const bool is_number = node.kind() == JsonKind::kInteger;
  const std::uint64_t width = node.integer(0, kJsonIntegerLimit);
  if (std::find(allowed.begin(), allowed.end(), width) != allowed.end()) return static_cast<int>(width);
  std::string expected;
  for (const std::uint64_t choice : allowed)
    expected += (expected.empty() ? "" : " or ") + std::to_string(choice);
  if (is_number) node.refuse(Reason::kJsonValue, std::to_string(width), expected);
  return static_cast<int>(*allowed.begin());
}

Algorithm read_algorithm(Draft& draft, const JsonNode& node) {
  Algorithm algorithm = placeholder_algorithm();
  JsonObject object(node);
  if (const auto crc = object.optional("crc")) {
    read_crc(draft, *crc, algorithm);
  } else if (const auto sum = object.optional("sum")) {
    read_sum(draft, *sum, algorithm);
  } else if (const auto fletcher = object.optional("fletcher")) {
    algorithm.kind = AlgorithmKind::kFletcher;
    algorithm.fletcher = read_width(*fletcher, {16, 32});
    algorithm.name = "Fletcher-" + std::to_string(algorithm.fletcher);
    if (algorithm.fletcher == 32) {
      algorithm.order = read_order(object, false);
      algorithm.name +=
          algorithm.order == ByteOrder::kLittle ? " of little-endian words" : " of big-endian words";
    }
  } else if (const auto adler = object.optional("adler")) {
    read_width(*adler, {32});
    algorithm.kind = AlgorithmKind::kAdler32;
    algorithm.name = "Adler-32";
  } else if (const auto sha = object.optional("sha")) {
    read_width(*sha, {256});
    algorithm.kind = AlgorithmKind::kSha256;
    algorithm.name = "SHA-256";
  } else {
    node.refuse(Reason::kJsonMissingKey, "no algorithm",
                "one of \"crc\", \"sum\", \"fletcher\", \"adler\", \"sha\"");
  }
  object.done();
  return algorithm;
}

}  // namespace calseal::region_map_draft
