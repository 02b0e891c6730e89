#include "calseal/cli/check/evidence_files.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSaltFileLimit = 4096;  // bytes

Tone tone_of(Emphasis emphasis) {
  switch (emphasis) {
    case Emphasis::kGood:
      return Tone::kGood;
    case Emphasis::kBad:
      return Tone::kBad;
    case Emphasis::kWarn:
      return Tone::kWarn;
    case Emphasis::kDim:
      return Tone::kDim;
  }
  return Tone::kPlain;
}

}  // namespace

Status load_file(const std::string& path, std::uint64_t limit, std::optional<NamedBytes>& file) {
  if (path.empty()) return {};
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, limit));
  file = NamedBytes{printable(path), std::move(bytes)};
  return {};
}

Status load_files(const std::vector<std::string>& paths, std::uint64_t limit,
                  std::vector<NamedBytes>& files) {
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, limit));
    files.push_back({printable(path), std::move(bytes)});
  }
  return {};
}

Status load_salt(const std::string& path, std::optional<Bytes>& salt) {
  if (path.empty()) return {};
  CALSEAL_ASSIGN(const Bytes text, read_file(path, kSaltFileLimit));
  CALSEAL_ASSIGN(salt, parse_salt(text, printable(path)));
  return {};
}

Emphasise emphasis_on(const Console& console) {
  return
      [&console](Emphasis emphasis, std::string_view text) { return console.toned(tone_of(emphasis), text); };
}

}  // namespace calseal
