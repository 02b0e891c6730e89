// Where things stand in a ledger's folder.
//
//   entries.jsonl   which ledger, then a line for each entry: the leaves of the tree; never changed
//   details.jsonl   what the entries are about, a line for each; taken out on request
//   tip.json        how far entries were acknowledged, and what the next append starts from
//   heads/          signed heads, <entries, 12 digits>.head, and time-stamp tokens over them, .tsr
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kEntriesFile = "entries.jsonl";
inline constexpr std::string_view kDetailsFile = "details.jsonl";
inline constexpr std::string_view kTipFile = "tip.json";
inline constexpr std::string_view kHeadsFolder = "heads";

inline constexpr std::string_view kLedgerLiteral = R"({"calseal":"ledger/1",)";
inline constexpr std::string_view kDetailLiteral = R"({"calseal":"ledger-detail/1",)";
inline constexpr std::string_view kTipLiteral = R"({"calseal":"ledger-tip/1",)";

inline constexpr std::uint64_t kLedgerEntryLimit = std::uint64_t{1} << 24;  // entries of one ledger
inline constexpr std::uint64_t kLedgerFileLimit = std::uint64_t{16} << 30;  // bytes of entries or details
inline constexpr std::size_t kDetailLineLimit = std::size_t{1} << 16;       // bytes, line end left out

// The first line of entries.jsonl, with its line end, and its inverse (kTypeWrong, kLedgerDamaged).
void ledger_line_fields(Fields& field, Sha256& id);
std::string write_ledger_line(const Sha256& id);
Result<Sha256> parse_ledger_line(ByteView line, const std::string& name);

// The folder of a ledger that a person named by its folder or by its entries file.
std::string ledger_folder(const std::string& path);

std::string head_file(std::uint64_t size);   // "heads/000000000412.head"
std::string token_file(std::uint64_t size);  // "heads/000000000412.tsr"

}  // namespace calseal
