// An option: a named piece of work, as byte edits with what they need and exclude. Plain data, never
// executable. docs/options.md is the format's page; docs/option.schema.json the schema.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class Fields;

inline constexpr std::uint64_t kOptionSizeLimit = std::uint64_t{8} << 20;  // bytes of JSON
inline constexpr std::size_t kOptionEditLimit = 16384;
inline constexpr std::uint64_t kOptionByteLimit = std::uint64_t{1} << 20;  // bytes of all edits together
inline constexpr std::size_t kOptionListLimit = 256;                       // of every other list
inline constexpr std::size_t kOptionTogetherLimit = 256;  // options of one composition, as a manifest holds

// Bytes at one place: what must stand there in the base, and what the option puts there. Equal bytes of both
// are claimed as well: they must stay.
struct OptionEdit {
  std::string memory;    // name; empty when `item` is given
  std::string item;      // name of a calibration item, whose place the region map says; else empty
  std::uint64_t at = 0;  // address, or offset in bytes into the item
  Bytes before, after;   // equally many, at least one
  friend bool operator==(const OptionEdit&, const OptionEdit&) = default;
};

// What must, or must not, be there besides. Fuel and hardware are free names that the tuner states.
struct OptionConditions {
  std::vector<std::string> options, fuel, hardware;
  friend bool operator==(const OptionConditions&, const OptionConditions&) = default;
};

struct Option {
  std::string name;                           // [a-z0-9][a-z0-9_-]{0,63}
  std::string title;                          // line
  std::string purpose;                        // text
  std::string controller;                     // as the region map's
  std::string region_map;                     // name of the family's region map
  std::optional<Sha256> map_digest;           // this very region map; nothing: any of that name
  std::vector<std::string> software_numbers;  // lines; empty: any, `before` alone decides
  OptionConditions requires_also, excludes;
  std::vector<OptionEdit> edits;  // as written
  std::vector<std::string> cautions;
  std::string note;
  friend bool operator==(const Option&, const Option&) = default;
};

// An option with the file that it came from: what a manifest names is the file's digest.
struct OptionFile {
  Option option;
  std::string file;  // name for errors
  Bytes text;        // byte for byte
  Sha256 digest;     // of `text`
};

// Strict JSON (json-*), type-wrong, format-unknown, then option-invalid: edits that share bytes of one item
// or memory, before and after of different length, nothing edited, an option that requires or excludes
// itself. `file` only names it in errors.
Result<OptionFile> parse_option(Bytes text, const std::string& file);

// The same from files named by a person, in the order given; errors of read_file() first.
Result<std::vector<OptionFile>> load_options(const std::vector<std::string>& paths);

void option_fields(Fields& field, Option& option);
// One stable text for people and version control: two blanks of indentation, one edit a line, a final line
// end.
std::string write_option(const Option& option);

}  // namespace calseal
