// The published CRC catalogue, and random algorithms beside it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/digest/catalogue.h"
#include "support/random.h"
#include "support/vector_file.h"

namespace calseal {

struct CatalogueRow {
  std::string name;
  std::vector<std::string> aliases;
  int width = 0;
  CrcValue poly, init;
  bool refin = false, refout = false;
  CrcValue xorout, check, residue;
  CrcValue empty, one_zero_byte, bytes_00_to_ff, bytes_ff_32;
  std::vector<Bytes> codewords;
};

inline void PrintTo(const CatalogueRow& row, std::ostream* out) { *out << row.name; }

// "0x" and up to 32 hexadecimal digits.
inline CrcValue wide_number(JsonObject& object, std::string_view key) {
  const std::string text = object.text(key, 34);
  CrcValue value;
  for (std::size_t i = 2; i < text.size(); ++i) {
    const char c = text[i];
    const auto digit = static_cast<std::uint64_t>(c <= '9' ? c - '0' : c - 'a' + 10);
    value.high = (value.high << 4) | (value.low >> 60);
    value.low = (value.low << 4) | digit;
  }
  return value;
}

inline CatalogueRow read_catalogue_row(JsonObject& object) {
  CatalogueRow row;
  row.name = object.text("name");
  for (const JsonNode& alias : object.items("aliases", 16)) row.aliases.push_back(alias.text());
  row.width = static_cast<int>(object.integer("width", 3, 127));
  row.poly = wide_number(object, "poly");
  row.init = wide_number(object, "init");
  row.refin = object.boolean("refin");
  row.refout = object.boolean("refout");
  row.xorout = wide_number(object, "xorout");
  row.check = wide_number(object, "check");
  row.residue = wide_number(object, "residue");
  if (const auto node = object.required("derived")) {
    JsonObject derived(*node);
    row.empty = wide_number(derived, "empty");
    row.one_zero_byte = wide_number(derived, "one_zero_byte");
    row.bytes_00_to_ff = wide_number(derived, "bytes_00_to_ff");
    row.bytes_ff_32 = wide_number(derived, "bytes_ff_32");
    derived.done();
  }
  for (const JsonNode& codeword : object.items("codewords", 100))
    row.codewords.push_back(codeword.hex(1, 4096));
  return row;
}

inline const std::vector<CatalogueRow>& catalogue_rows() {
  static const std::vector<CatalogueRow> kRows =
      vector_rows<CatalogueRow>("crc_catalogue.json", "algorithms", read_catalogue_row);
  return kRows;
}

// All algorithms of the library's catalogue that Crc can run.
inline std::vector<CrcParameters> catalogue_parameters() {
  std::vector<CrcParameters> all;
  for (const CatalogueEntry& entry : crc_catalogue()) {
    if (const auto parameters = parameters_of(entry)) all.push_back(*parameters);
  }
  return all;
}

inline CrcParameters random_crc(Random& random, int width) {
  const std::uint64_t most = ~std::uint64_t{0} >> (64 - width);
  CrcParameters p;
  p.width = width;
  p.poly = random.between(0, most) | 1U;
  p.init = random.between(0, most);
  p.refin = random.coin();
  p.refout = random.coin();
  p.xorout = random.between(0, most);
  return p;
}

inline std::string describe(const CrcParameters& p) {
  return "width " + std::to_string(p.width) + " poly " + std::to_string(p.poly) + " init " +
         std::to_string(p.init) + (p.refin ? " refin" : "") + (p.refout ? " refout" : "") + " xorout " +
         std::to_string(p.xorout);
}

}  // namespace calseal
