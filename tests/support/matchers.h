// Matchers for Result: a test names the value or the reason that it expects; there is no "is not ok".
#pragma once

#include <gmock/gmock.h>

#include <string>

#include "calseal/base/result.h"

namespace calseal {

// Readable failures: an error prints itself whole.
inline void PrintTo(const Error& error, std::ostream* out) {
  if (out == nullptr) return;  // a listener that nobody listens to has no stream
  *out << code(error.reason) << " [file] " << error.file << " [place] " << error.place << " [found] "
       << error.found << " [expected] " << error.expected << " [next] " << error.next;
}

namespace testing_support {

template <typename T>
void explain(const Result<T>& result, ::testing::MatchResultListener* listener) {
  if (result.has_value()) {
    *listener << "which holds a value";
  } else {
    PrintTo(result.error(), listener->stream());
  }
}

}  // namespace testing_support

MATCHER(IsOk, "holds a value") {
  testing_support::explain(arg, result_listener);
  return arg.has_value();
}

MATCHER_P(IsOkAnd, matcher, "") {
  testing_support::explain(arg, result_listener);
  return arg.has_value() && ::testing::ExplainMatchResult(matcher, *arg, result_listener);
}

// The reason, and that every text a person needs is there.
MATCHER_P(FailsWith, reason, std::string("fails with ") + std::string(code(reason))) {
  testing_support::explain(arg, result_listener);
  return !arg.has_value() && arg.error().reason == reason && !arg.error().found.empty() &&
         !arg.error().expected.empty() && !arg.error().next.empty();
}

// As FailsWith, and the place contains `where`.
MATCHER_P2(FailsWith, reason, where,
           std::string("fails with ") + std::string(code(reason)) + " at " + where) {
  testing_support::explain(arg, result_listener);
  return !arg.has_value() && arg.error().reason == reason &&
         arg.error().place.find(where) != std::string::npos && !arg.error().found.empty() &&
         !arg.error().expected.empty() && !arg.error().next.empty();
}

}  // namespace calseal
