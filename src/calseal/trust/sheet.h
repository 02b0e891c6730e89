// The sheet: the shop's signed list of what it offers and asks. docs/sheet.md is normative. It holds no
// calibration bytes, and proves nothing about any image.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kSheetLiteral = R"({"calseal":"sheet/1",)";
inline constexpr std::uint64_t kSheetSizeLimit = std::uint64_t{1} << 20;  // bytes
inline constexpr std::size_t kSheetOptionLimit = 256;
inline constexpr std::size_t kSheetListLimit = 256;      // controllers, conditions and cautions of one option
inline constexpr std::size_t kSheetPurposeLimit = 4096;  // bytes
inline constexpr std::size_t kQuestionLimit = 64;
inline constexpr std::size_t kQuestionChoiceLimit = 64;
inline constexpr std::size_t kSheetReadLimit = 16;
inline constexpr std::size_t kSheetMemoryLimit = 16;
inline constexpr std::size_t kSheetCautionLimit = 64;

// An X25519 public key, to which parcels are closed.
struct ParcelKey {
  std::array<std::uint8_t, 32> bytes{};
  friend auto operator<=>(const ParcelKey&, const ParcelKey&) = default;
};
// Whether its result with any private key is all zero (RFC 7748 section 6.1). docs/parcel.md, "The key
// exchange".
bool is_of_small_order(const ParcelKey& key);

// Names that must, or must not, be there besides; each list ascending.
struct SheetConditions {
  std::vector<std::string> options, fuel, hardware;
  friend bool operator==(const SheetConditions&, const SheetConditions&) = default;
};

struct SheetOption {
  std::string name;
  std::string title;                     // line
  std::string purpose;                   // text, or empty
  std::vector<std::string> controllers;  // ascending, at least one
  SheetConditions requires_also, excludes;
  std::vector<std::string> cautions;  // lines, as written in the option file
  friend bool operator==(const SheetOption&, const SheetOption&) = default;
};

enum class QuestionKind : std::uint8_t { kChoice, kNumber, kText };
// What the choice that is made says about the vehicle.
enum class QuestionStates : std::uint8_t { kNothing, kFuel, kHardware };

struct QuestionChoice {
  std::string name;
  std::string text;  // line
  friend bool operator==(const QuestionChoice&, const QuestionChoice&) = default;
};

struct SheetQuestion {
  std::string name;
  std::string text;  // line
  QuestionKind kind = QuestionKind::kText;
  QuestionStates states = QuestionStates::kNothing;
  bool required = false;
  std::vector<QuestionChoice> choices;  // 2 to 64 of a choice, else none
  friend bool operator==(const SheetQuestion&, const SheetQuestion&) = default;
};

struct SheetMemory {
  std::string name;
  std::uint64_t size = 0;  // bytes of a raw file; 0: not known beforehand
  friend bool operator==(const SheetMemory&, const SheetMemory&) = default;
};

struct SheetRead {
  std::string controller;
  std::string title;                  // line for the customer
  std::vector<SheetMemory> memories;  // at least one, names differ
  bool again = false;                 // a second read is wanted
  friend bool operator==(const SheetRead&, const SheetRead&) = default;
};

// What is written by hand: the sheet without what comes from option files and signing.
struct SheetQuestions {
  std::vector<SheetQuestion> questions;
  std::vector<SheetRead> reads;       // ascending by controller
  std::vector<std::string> cautions;  // lines
  friend bool operator==(const SheetQuestions&, const SheetQuestions&) = default;
};

struct Sheet {
  KeyId root;  // of the trust file under which it counts
  std::uint64_t number = 1;
  std::string claimed_time;
  std::optional<ParcelKey> parcel_key;
  std::vector<SheetOption> options;  // ascending by name
  SheetQuestions asked;
  Sha256 digest;  // of the signed text; no part of it
  friend bool operator==(const Sheet&, const Sheet&) = default;

  const SheetOption* find_option(std::string_view name) const;
  const SheetQuestion* find_question(std::string_view name) const;
  // In bytes; 0 where the sheet does not say it.
  std::uint64_t size_of(std::string_view controller, std::string_view memory) const;
};

// The signed text: its fields, and as it is written. `question_fields` are those of the file by hand too.
void question_fields(Fields& field, SheetQuestions& asked);
void sheet_fields(Fields& field, Sheet& sheet);
std::string write_sheet_text(const Sheet& sheet);

// kSheetInvalid with the JSON pointer of what does not fit together; the last part of check 3.
Status check_sheet_consistency(const Sheet& sheet, const std::string& name);

// In this order: size (kFileTooLarge), literal (kTypeWrong), lines (kSheetInvalid); every signer known
// (kSignerUnknown) and every signature good (kSignatureBad); strict and canonical JSON, inner consistency,
// root (kSheetInvalid); all signers active (kKeyCompromised), with the role `sheet` (kRolesMissing),
// restricted to no job or controller (kKeyScope), claimed time within validity (kKeyValidity).
Result<Sheet> parse_sheet(ByteView file, const TrustFile& trust, const std::string& name);

}  // namespace calseal
