// Who answers for each field of a manifest: docs/proof.md, "who proves what", as a table that verdicts show.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/check/verdict.h"

namespace calseal {

enum class Answer : std::uint8_t {
  kProved,  // from bytes, by this check
  kWord,    // the signed word of the shop
};

struct FieldAnswer {
  std::string field;  // as docs/proof.md names it: "spans/after", "title"
  Answer answer = Answer::kWord;
};

// For an accepted or authentic verdict, in the order of the manifest. What only a read can prove is the shop's
// word where none was given; so is the binding of a vehicle that was not proved. Empty for a refused one:
// nothing of its manifest is shown as true.
std::vector<FieldAnswer> field_answers(const Verdict& verdict);

}  // namespace calseal
