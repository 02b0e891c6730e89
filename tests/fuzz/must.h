// What every fuzz target asks of what it tried.
#pragma once

#include <cstdio>
#include <cstdlib>

#include "calseal/base/result.h"

namespace calseal {

// A promise that must hold for any input.
inline void must(bool holds, const char* promise) {
  if (holds) return;
  std::fprintf(stderr, "broken promise: %s\n", promise);
  std::abort();
}

// A refusal says all that a person needs.
inline void must_explain(const Error& error) {
  must(!error.file.empty(), "a refusal names its file");
  if (error.found.empty() || error.expected.empty() || error.next.empty())
    std::fprintf(stderr, "%s: %s: found %s, expected %s, next %s\n", std::string(code(error.reason)).c_str(),
                 error.place.c_str(), error.found.c_str(), error.expected.c_str(), error.next.c_str());
  must(!error.found.empty() && !error.expected.empty() && !error.next.empty(),
       "a refusal says what was found, what was expected and what to do");
}

}  // namespace calseal
