#include "calseal/ledger/kept_heads.h"

#include <algorithm>
#include <filesystem>
#include <set>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/ledger/layout.h"

namespace calseal {
namespace {

std::optional<std::uint64_t> size_of_name(const std::string& name) {
  if (name.size() != 17 || !name.ends_with(".head")) return std::nullopt;
  std::uint64_t size = 0;
  for (const char c : name.substr(0, 12)) {
    if (c < '0' || c > '9') return std::nullopt;
    size = size * 10 + static_cast<std::uint64_t>(c - '0');
  }
  return size;
}

}  // namespace

std::vector<KeptHead> kept_heads(const std::string& folder) {
  std::vector<KeptHead> heads;
  std::set<std::string> tokens;
  std::error_code error;
  for (std::filesystem::directory_iterator at(folder + "/" + std::string(kHeadsFolder), error), end;
       !error && at != end; at.increment(error)) {
    const std::string name = at->path().filename().string();
    if (name.ends_with(".tsr")) tokens.insert(name);
    if (const auto size = size_of_name(name); size && heads.size() < kKeptHeadLimit)
      heads.push_back({*size, folder + "/" + head_file(*size), ""});
  }
  std::ranges::sort(heads, {}, &KeptHead::size);
  for (KeptHead& head : heads) {
    const std::string token = token_file(head.size);
    if (tokens.contains(token.substr(kHeadsFolder.size() + 1))) head.token_path = folder + "/" + token;
  }
  return heads;
}

Result<NamedBytes> read_kept(const std::string& path, std::uint64_t limit) {
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, limit));
  return NamedBytes{printable(path), std::move(bytes)};
}

}  // namespace calseal
