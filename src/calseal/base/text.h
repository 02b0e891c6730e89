// Bytes and numbers as text: hexadecimal, addresses, and input made safe to print.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"

namespace calseal {

// Lower-case hexadecimal, two digits a byte, no separators.
std::string to_hex(ByteView bytes);

// Strict inverse of to_hex: lower case only, even length; nothing when anything else occurs.
std::optional<Bytes> from_hex(std::string_view text);

// "0x%08x"; the canonical text of an address below 2^32.
std::string address_text(std::uint64_t address);

// Strict inverse of address_text: "0x" and exactly eight lower-case digits.
std::optional<std::uint64_t> parse_address(std::string_view text);

// "0x" and at least `digits` lower-case hexadecimal digits.
std::string hex_number(std::uint64_t value, int digits = 1);

// First and last address of a range, "0x80000000-0x800000ff"; an empty range prints its begin alone.
std::string range_text(const Range& range);

// "4,194,304"
std::string grouped(std::uint64_t value);
// The same of a decimal number as text, "-1234.5" as "-1,234.5"; anything else comes back as it is.
std::string grouped(std::string number);
// "1 byte", "4,096 bytes"
std::string bytes_text(std::uint64_t count);

// Whether a character moves the cursor, turns the direction of writing, or cannot be seen.
bool misleads(std::uint32_t point);

// Input made safe for a terminal, a log or a report: characters that mislead and bytes that are not UTF-8
// become \x.., \u.... or \u{.....} escapes. Longer than `limit` bytes: cut, with "...". Made safe again, it
// stays as it is.
std::string printable(std::string_view text, std::size_t limit = 200);

// True for well-formed UTF-8 (RFC 3629: no surrogates, no overlong forms).
bool is_utf8(std::string_view text);

// Up to `limit` bytes as "de ad be ef", with "..." when cut.
std::string hex_excerpt(ByteView bytes, std::size_t limit = 16);

}  // namespace calseal
