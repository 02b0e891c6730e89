// What reports are put together from: sections, facts, tables, verdicts.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/kinds.h"
#include "calseal/report/html/markup.h"

namespace calseal {

// A titled part of a report; `note` says in a sentence what it shows, and may be empty.
Html section(std::string_view title, const Html& note, const Html& content);

// A list of names and values; a value without content leaves its row out.
class Facts {
 public:
  void add(std::string_view name, const Html& value);
  Html html() const;

 private:
  Html rows_;
};

// A table with a heading row. Columns of numbers stand to the right.
struct TableColumn {
  std::string title;
  bool number = false;
};
class Table {
 public:
  // `caption` names the table for those who do not see it.
  Table(std::string_view caption, std::vector<TableColumn> columns);
  // As many cells as columns; the first one heads its row.
  void add(const std::vector<Html>& cells);
  bool empty() const { return rows_.empty(); }
  Html html() const;

 private:
  std::string caption_;
  std::vector<TableColumn> columns_;
  Html rows_;
};

// How a verdict looks besides its word.
enum class Stance : std::uint8_t { kGood, kBad, kSealOnly, kNotVerified };

// The band on top: sign, word, and the sentence that says what the word means here.
Html verdict_band(Stance stance, std::string_view word, const Html& sentence, const Html& more);

// Which reason, where, found, expected, next.
Html error_facts(const Error& error);

// A sign with its word, told apart without colour: "+ holds".
Html check_state(CheckState state);

// "editable" with the pattern that stands for it in pictures.
Html kind_key(SpanKind kind);
Html unknown_key();

// Cautions and the like: a sign, then the text.
Html warning(const Html& text);

Html code(std::string_view text);      // addresses, digests, bytes
Html number(std::uint64_t value);      // digits grouped
Html byte_count(std::uint64_t count);  // "14 bytes"

// "4 MiB", "256 KiB", "14 bytes": whole binary units where they are exact.
std::string size_words(std::uint64_t bytes);

}  // namespace calseal
