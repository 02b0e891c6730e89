// Canonical JSON (base/json.h) written straight out, without a tree: for texts that are written often.
#pragma once

#include <charconv>
#include <concepts>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>

#include "calseal/base/json.h"

namespace calseal {

class JsonText {
 public:
  // Values, as elements of an array or behind key().
  void value(std::string_view text) {
    separate();
    append_canonical_string(text_, text);
  }
  void value(std::same_as<bool> auto boolean) {
    separate();
    text_ += boolean ? "true" : "false";
  }
  void value(std::uint64_t integer) {
    separate();
    char digits[20];
    text_.append(digits, std::to_chars(digits, digits + sizeof(digits), integer).ptr);
  }
  // `write()` writes the members.
  void object(auto write) { enclose('{', '}', write); }
  // `write(element)` writes one value for every element of the sequence.
  void array(const auto& sequence, auto write) {
    enclose('[', ']', [&] {
      for (const auto& element : sequence) write(element);
    });
  }

  void key(std::string_view name) {
    value(name);
    text_ += ':';
  }
  // The same as members of an object.
  void member(std::string_view name, const auto& content) {
    key(name);
    value(content);
  }
  void object(std::string_view name, auto write) {
    key(name);
    object(write);
  }
  void array(std::string_view name, const auto& sequence, auto write) {
    key(name);
    array(sequence, write);
  }

  // The text so far; the writer is empty afterwards.
  std::string take() { return std::exchange(text_, {}); }

 private:
  // A string ends in its quote, so these can only be structure.
  void separate() {
    if (text_.empty() || text_.back() == '{' || text_.back() == '[' || text_.back() == ':') return;
    text_ += ',';
  }
  void enclose(char open, char close, auto write) {
    separate();
    text_ += open;
    write();
    text_ += close;
  }

  std::string text_;
};

}  // namespace calseal
