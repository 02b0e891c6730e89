// Signed statements as text files: trust file, succession, withdrawal and the like.
//
// The first line is the signed JSON; each further line is "<key id, 64 hex> <signature, 128 hex>", ascending
// by key id; every line ends with LF. docs/bundle-format.md, "Statements".
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/result.h"
#include "calseal/bundle/prefix.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {

// The two parts of a statement file; nothing in it is proved yet.
struct Statement {
  ByteView signed_bytes;                    // inside the file that was given; the first line without its LF
  std::vector<PrefixSignature> signatures;  // 1 to 8, ascending by key id
};

// Splits a file. In this order: size (kFileTooLarge), literal (kTypeWrong), lines (`damaged`). No JSON is
// read.
Result<Statement> read_statement(ByteView file, std::string_view literal, std::uint64_t size_limit,
                                 Reason damaged, const std::string& name);

// The inverse; sorts the signatures.
std::string write_statement(std::string_view signed_text, std::vector<PrefixSignature> signatures);

// read_canonical() where, whatever is wrong, the text as a whole is not one to be used: `damaged`.
template <typename Value>
Result<Value> parse_canonical_text(ByteView bytes, Reason damaged, FieldList<Value> fields,
                                   const std::string& name) {
  Result<Value> parsed = read_canonical(bytes, fields, name);
  if (parsed) return parsed;
  Error error = std::move(parsed).error();
  error.reason = damaged;
  return fail(std::move(error));
}

}  // namespace calseal
