// The files of a folder as they are, damaged ones included, for a folder of evidence.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/archive/survey.h"
#include "calseal/base/result.h"
#include "calseal/job/layout.h"

namespace calseal {

inline constexpr std::uint64_t kEvidenceSizeLimit = std::uint64_t{4} << 30;  // bytes of all files together

struct TakenFiles {
  std::vector<NewFile> files;         // below job/
  std::vector<std::string> left_out;  // links, pipes, private keys, salts, and what could not be read
  bool salt_left_out = false;
};
// Files below the folders in `but` (as paths, without a slash at the end) are passed over without a word.
// kFileTooLarge for more than kEvidenceSizeLimit in the whole survey.
Result<TakenFiles> take_files(const Survey& survey, bool with_salt, const std::vector<std::string>& but = {});

// Whether a path lies below a folder of that path.
bool is_below(std::string_view path, std::string_view folder);

}  // namespace calseal
