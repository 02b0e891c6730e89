// The heads that lie in a ledger's folder.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/trust/succession.h"

namespace calseal {

inline constexpr std::size_t kKeptHeadLimit = std::size_t{1} << 20;

struct KeptHead {
  std::uint64_t size = 0;  // as its name says
  std::string path;
  std::string token_path;  // beside it; empty when there is none
};

// Ascending by size. Files of other names are not looked at.
std::vector<KeptHead> kept_heads(const std::string& folder);
// kFileMissing and so on.
Result<NamedBytes> read_kept(const std::string& path, std::uint64_t limit);

}  // namespace calseal
