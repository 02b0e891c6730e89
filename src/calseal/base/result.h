// Errors as values: what went wrong, where, what was found, what was expected, what to do next.
#pragma once

#include <string>

// Declared here first: the library does not say that these must be looked at, and an alias cannot.
namespace tl {
template <class T, class E>
class [[nodiscard]] expected;
template <class E>
class [[nodiscard]] unexpected;
}  // namespace tl

#include <tl/expected.hpp>
#include <utility>

#include "calseal/base/reason.h"

namespace calseal {

// One refusal, finding or failure. Texts are for people and may change; `reason` is for programs.
// Every text is already free of control characters when it quotes input (see printable() in text.h).
struct [[nodiscard]] Error {
  Reason reason = Reason::kInternal;
  std::string file;      // the file as the user named it, or empty
  std::string place;     // where in it: line, JSON pointer, address, entry
  std::string found;     // what is there
  std::string expected;  // what should be there
  std::string next;      // what to do now

  friend bool operator==(const Error&, const Error&) = default;
};

template <typename T>
using Result = tl::expected<T, Error>;

using Status = Result<void>;

inline tl::unexpected<Error> fail(Error error) { return tl::unexpected<Error>(std::move(error)); }

// The same error, with the file filled in where a lower layer did not know it.
inline Error in_file(Error error, const std::string& file) {
  if (error.file.empty()) error.file = file;
  return error;
}

}  // namespace calseal

#define CALSEAL_CONCAT_INNER(a, b) a##b
#define CALSEAL_CONCAT(a, b) CALSEAL_CONCAT_INNER(a, b)

// Declares or assigns `lhs` from a Result, or returns its error.
#define CALSEAL_ASSIGN(lhs, expr) CALSEAL_ASSIGN_INNER(CALSEAL_CONCAT(calseal_result_, __LINE__), lhs, expr)
#define CALSEAL_ASSIGN_INNER(tmp, lhs, expr)                \
  auto tmp = (expr);                                        \
  if (!tmp) return ::calseal::fail(std::move(tmp).error()); \
  lhs = *std::move(tmp)

// Returns the error of a Result, if it has one.
#define CALSEAL_CHECK(expr) CALSEAL_CHECK_INNER(CALSEAL_CONCAT(calseal_result_, __LINE__), expr)
#define CALSEAL_CHECK_INNER(tmp, expr) \
  if (auto tmp = (expr); !tmp) return ::calseal::fail(std::move(tmp).error())
