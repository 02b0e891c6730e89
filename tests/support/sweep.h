// Every single-bit flip, truncation and appended byte of a small file: none may be accepted.
#pragma once

#include <gtest/gtest.h>

#include <set>
#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

// `parse` takes a text and gives a Result. Returns the codes of all refusals, so that a test can say which
// ones it expects.
template <typename Parse>
std::set<std::string> sweep_damage(std::string file, Parse parse) {
  std::set<std::string> reasons;
  const auto refused = [&](const std::string& text, const std::string& what) {
    const auto result = parse(text);
    if (result.has_value()) {
      ADD_FAILURE() << "accepted: " << what;
    } else {
      reasons.insert(std::string(code(result.error().reason)));
    }
  };
  EXPECT_TRUE(parse(file).has_value());
  const std::string whole = file;
  for (std::size_t at = 0; at < file.size(); ++at) {
    refused(file.substr(0, at), "cut at " + std::to_string(at));
    for (int bit = 0; bit < 8; ++bit) {
      file[at] = static_cast<char>(file[at] ^ (1 << bit));
      refused(file, "bit " + std::to_string(bit) + " of byte " + std::to_string(at));
      file[at] = whole[at];
    }
  }
  for (int byte = 0; byte < 256; ++byte)
    refused(whole + static_cast<char>(byte), "byte " + std::to_string(byte) + " appended");
  return reasons;
}

}  // namespace calseal
