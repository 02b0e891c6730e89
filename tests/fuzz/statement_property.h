// What must hold of every kind of signed statement, for any bytes; and for any text under true signatures, so
// that the layers behind them are reached.
//
// An input that begins with 01 is a recipe that bends a sample; all others are the text or file itself.
#pragma once

#include <functional>
#include <vector>

#include "calseal/trust/statement.h"
#include "fuzz/bend_json.h"
#include "fuzz/must.h"
#include "support/test_keys.h"

namespace calseal {

inline std::string text_from_input(const std::uint8_t* data, std::size_t size,
                                   const std::vector<std::string>& samples) {
  if (size == 0 || data[0] != 0x01) return {data, data + size};
  const Recipe recipe(data + 1, size - 1);
  return bent_json(samples[recipe.first % samples.size()], recipe.bends);
}

// A sample that is refused reaches nothing.
template <typename Parse>
bool accepts_samples(const std::vector<std::string>& samples, Parse parse,
                     const std::vector<std::uint8_t>& signers) {
  for (const std::string& text : samples) {
    const std::string file = signed_by(text, signers);
    const auto parsed = parse(view_of(file));
    if (!parsed) std::fprintf(stderr, "%s: %s\n", parsed.error().place.c_str(), parsed.error().found.c_str());
    must(parsed.has_value(), "the samples are accepted");
  }
  return true;
}

// `parse` and `write` are of one kind; `signers` are those that it needs.
template <typename Parse, typename Write>
void check_statement(const std::string& text, Parse parse, Write write,
                     const std::vector<std::uint8_t>& signers) {
  const auto judge = [&](const std::string& file, bool honest) {
    const auto parsed = parse(view_of(file));
    if (!parsed) return must_explain(parsed.error());
    const std::string again = write(*parsed);
    must(file.starts_with(again + "\n"), "what is accepted is the one canonical text");
    must(honest, "what nobody signed is refused");
  };
  if (text.find('\n') != std::string::npos) {
    const auto statement =
        read_statement(view_of(text), "{", std::uint64_t{8} << 20, Reason::kTrustInvalid, "input");
    if (statement) {
      must(write_statement(text_of(statement->signed_bytes), statement->signatures) == text,
           "a statement file has one form");
    }
    return judge(text, true);
  }
  const std::string file = signed_by(text, signers);
  judge(file, true);
  // The same under a stranger's hand, and with one bit of the first signature changed.
  judge(signed_by(text, {9}), false);
  std::string bent = file;
  bent[bent.size() - 2] = bent[bent.size() - 2] == '0' ? '1' : '0';
  judge(bent, false);
}

}  // namespace calseal
