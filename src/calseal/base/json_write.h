// Building JSON trees in one expression, for canonical files and for --json output.
#pragma once

#include <iterator>
#include <string>
#include <utility>

#include "calseal/base/json.h"
#include "calseal/base/text.h"

namespace calseal {

inline JsonValue json(std::string text) {
  JsonValue value;
  value.kind = JsonValue::Kind::kString;
  value.text = std::move(text);
  return value;
}
inline JsonValue json(std::string_view text) { return json(std::string(text)); }
inline JsonValue json(const char* text) { return json(std::string(text)); }
inline JsonValue json(bool boolean) {
  JsonValue value;
  value.kind = JsonValue::Kind::kBoolean;
  value.boolean = boolean;
  return value;
}
template <typename Integer>
requires(std::is_integral_v<Integer> && !std::is_same_v<Integer, bool>) JsonValue json(Integer integer) {
  JsonValue value;
  value.kind = JsonValue::Kind::kInteger;
  value.integer = static_cast<std::uint64_t>(integer);
  return value;
}

// An array of `make(element)` for every element of a sequence.
template <typename Sequence, typename Make>
JsonValue json_array(const Sequence& sequence, Make make) {
  JsonValue value;
  value.kind = JsonValue::Kind::kArray;
  for (const auto& element : sequence) value.items.push_back(make(element));
  return value;
}

inline JsonValue json_strings(const std::vector<std::string>& texts) {
  return json_array(texts, [](const std::string& text) { return json(text); });
}

// Takes the members as an array: an initializer list could only be copied from, a tree at every level again.
template <std::size_t kCount>
JsonValue json_object(JsonMember (&&members)[kCount]) {
  JsonValue value;
  value.kind = JsonValue::Kind::kObject;
  value.members.assign(std::make_move_iterator(std::begin(members)),
                       std::make_move_iterator(std::end(members)));
  return value;
}

// {"reason","file","place","found","expected","next"}: how every error appears in --json output.
inline JsonValue json_error(const Error& error) {
  return json_object({{"reason", json(code(error.reason))},
                      {"file", json(printable(error.file, 16384))},
                      {"place", json(error.place)},
                      {"found", json(error.found)},
                      {"expected", json(error.expected)},
                      {"next", json(error.next)}});
}

}  // namespace calseal
