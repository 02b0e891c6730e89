// A verdict for people, and the same for programs.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/check/verdict.h"

namespace calseal {

// How a word is set apart on a terminal; the text itself always says the same without it.
enum class Emphasis : std::uint8_t { kGood, kBad, kWarn, kDim };
using Emphasise = std::function<std::string(Emphasis, std::string_view)>;

inline constexpr std::size_t kVerdictColumn = 12;  // where values start

// The whole verdict in lines of at most about 100 columns, ending with a line end.
std::string verdict_text(const Verdict& verdict, const Emphasise& emphasise);

// {"calseal":"check/1", ...}; docs/json-output.md.
JsonValue verdict_json(const Verdict& verdict);

// What to mind before a controller is written: common practice, no source.
const std::vector<std::string>& writing_cautions();

}  // namespace calseal
