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
    if (raw_length(text) != text.size()) {
      std::string escaped;
      append_canonical_string(escaped, text);
      put(escaped);
      return;
    }
    char* const to = room(text.size() + 2);
    to[0] = '"';
    text.copy(to + 1, text.size());
    to[text.size() + 1] = '"';
    size_ += text.size() + 2;
  }
  void value(std::same_as<bool> auto boolean) {
    separate();
    put(boolean ? "true" : "false");
  }
  void value(std::uint64_t integer) {
    separate();
    constexpr std::size_t kDigits = 20;
    char* const to = room(kDigits);
    size_ += static_cast<std::size_t>(std::to_chars(to, to + kDigits, integer).ptr - to);
  }
  // `write()` writes the members.
  void object(auto write) { enclose('{', '}', write); }
  // `write(element)` writes one value for every element of the sequence.
  void array(const auto& sequence, auto write) {
    enclose('[', ']', [&] {
      for (const auto& element : sequence) write(element);
    });
  }

  // A name without anything to escape, as all of ours are.
  void key(std::string_view name) {
    separate();
    char* const to = room(name.size() + 3);
    to[0] = '"';
    name.copy(to + 1, name.size());
    to[name.size() + 1] = '"';
    to[name.size() + 2] = ':';
    size_ += name.size() + 3;
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

  // The text so far, until more is written; and an empty writer that keeps its room.
  std::string_view text() const { return {text_.data(), size_}; }
  void clear() { size_ = 0; }
  // The text so far; the writer is empty afterwards.
  std::string take() {
    text_.resize(std::exchange(size_, 0));
    return std::exchange(text_, {});
  }

 private:
  // Where so many bytes more can be written.
  char* room(std::size_t size) {
    if (text_.size() - size_ < size) text_.resize(2 * text_.size() + size + kLeast);
    return text_.data() + size_;
  }
  void put(std::string_view text) {
    text.copy(room(text.size()), text.size());
    size_ += text.size();
  }
  // A string ends in its quote, so these can only be structure.
  void separate() {
    if (size_ == 0) return;
    const char last = text_[size_ - 1];
    if (last == '{' || last == '[' || last == ':') return;
    *room(1) = ',';
    ++size_;
  }
  void enclose(char open, char close, auto write) {
    separate();
    *room(1) = open;
    ++size_;
    write();
    *room(1) = close;
    ++size_;
  }

  static constexpr std::size_t kLeast = 4096;  // bytes
  std::string text_;                           // longer than what is written, so that room is made seldom
  std::size_t size_ = 0;                       // bytes written
};

}  // namespace calseal
