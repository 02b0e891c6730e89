// Points in time as our files write them: whole seconds, UTC, "2026-01-31T23:59:59Z" (RFC 3339).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace calseal {

// Seconds since 1970-01-01T00:00:00Z, no leap seconds.
struct UtcTime {
  std::int64_t seconds = 0;
  friend auto operator<=>(const UtcTime&, const UtcTime&) = default;
};

// Exactly the 20 characters above, years 1970 to 9999, a date that exists; nothing else.
std::optional<UtcTime> parse_time(std::string_view text);
std::string time_text(UtcTime time);

// The machine's clock, read now.
UtcTime current_time();

// The day of a time text: "2026-03-04".
inline std::string day_of(const std::string& time) { return time.substr(0, 10); }

}  // namespace calseal
