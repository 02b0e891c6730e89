// Digests as digits that one person reads aloud and another compares or types: docs/bundle-format.md, section
// "Spoken codes". The check digits are those of ISO/IEC 7064, system MOD 11,10.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "calseal/digest/sha256.h"

namespace calseal {

// What a code is of. Its letter goes in front of the groups.
enum class Spoken : std::uint8_t {
  kKey,       // K: a key id, the root's or any other; 128 bits in 13 groups
  kRevision,  // M: the digest of a manifest; 128 bits in 13 groups
  kReceipt,   // Q: the authentication code of a receipt; 48 bits in 5 groups
};

// The check digit, 0 to 9, of ISO/IEC 7064 MOD 11,10 (hybrid system) for a text of decimal digits.
int mod_11_10_check_digit(std::string_view digits);

// "K 1234 5678 ..." of the first bytes of `digest`. Always readable by read_spoken_code().
std::string spoken_code(Spoken what, const Sha256& digest);

// What a person typed. One of the two is empty.
struct SpokenReading {
  std::string code;   // as spoken_code() writes it
  std::string fault;  // words that name the group or the letter that is wrong
};

// Reads `text` as a code of this kind: separators are left out, the letter is taken in either case, every
// group must fit its check digit. Any text is taken; the words hold at most one foreign character, escaped.
SpokenReading read_spoken_code(std::string_view text, Spoken what);

// Words that name the groups in which two codes of one kind differ; empty where they are the same.
std::string spoken_difference(std::string_view code, std::string_view other);

// Whether somebody meant `text` as a code, of whatever kind and right or wrong: separators, at most one
// letter before the first digit, and two groups of digits or more; nothing else.
bool looks_spoken(std::string_view text);

// `text` without the separators at both ends.
std::string_view without_separators_around(std::string_view text);

}  // namespace calseal
