// What an audit can find: a closed list with stable codes.
//
// One row per finding stands in findings.inc; reports, docs/audit.md and the test that every finding is
// reached all come from that table.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/archive/recognise.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

enum class FindingCode : std::uint8_t {
#define CALSEAL_FINDING(enumerator, code, severity, meaning, next) enumerator,
#include "calseal/archive/findings.inc"
#undef CALSEAL_FINDING
};

enum class Severity : std::uint8_t {
  kError,    // something is lost, changed or wrong
  kWarning,  // something that a person should look at
  kNote      // worth knowing; no finding as far as the exit status goes
};
std::string_view severity_name(Severity severity);  // "error", "warning", "note"

struct FindingInfo {
  FindingCode code;
  std::string_view name;  // stable, lower-case with hyphens
  Severity severity;
  std::string_view meaning;
  std::string_view next;  // what to do
};
std::span<const FindingInfo> all_findings();  // in table order
const FindingInfo& info(FindingCode code);
std::optional<FindingCode> find_finding(std::string_view name);

// The file that should stand somewhere, as far as something tells.
struct WantedFile {
  enum class By : std::uint8_t {
    kIdentity,  // a bundle with this manifest
    kBytes,     // these very bytes
    kSalt,      // a salt with this digest
    kPlace      // nothing names it: what stands at the same place of a copy, is of this kind, and holds
  };
  By by = By::kPlace;
  std::string path;  // where it belongs
  Sha256 digest;
  FileKind kind = FileKind::kUnknown;
  std::optional<BundleHint> hint;  // kPlace, of a bundle
  friend bool operator==(const WantedFile&, const WantedFile&) = default;
};

// Compared with an earlier audit.
enum class FindingAge : std::uint8_t { kNotCompared, kNew, kStill, kGone };
std::string_view finding_age_name(FindingAge age);  // "", "new", "still-there", "gone"

struct Finding {
  FindingCode code = FindingCode::kFileUnreadable;
  std::string path;  // of the file, or where it should be; empty when no place can be told
  std::string
      subject;       // what it is about besides the file, in words that stay: "job oak-17 engine, revision 2"
  std::string text;  // what is there
  std::optional<Error> fault;  // with its own reason
  std::optional<WantedFile> wanted;
  FindingAge age = FindingAge::kNotCompared;
  std::string copy;  // a good one, where a mirror was looked through
  bool healed = false;

  Severity severity() const { return info(code).severity; }
};

// Path, then table order, then subject. Two findings with all three equal are one.
bool comes_before(const Finding& a, const Finding& b);
bool is_same_finding(const Finding& a, const Finding& b);

}  // namespace calseal
