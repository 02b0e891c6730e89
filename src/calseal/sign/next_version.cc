#include "calseal/sign/next_version.h"

#include <filesystem>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {
namespace {

tl::unexpected<Error> taken(const std::string& path, std::string found, std::string expected) {
  return fail({Reason::kOutputExists, printable(path), "", std::move(found), std::move(expected),
               "look at what stands there, and run the command again"});
}

bool stands(const std::string& path, ByteView bytes) {
  const Result<Bytes> there = read_file(path, bytes.size());
  return there && std::equal(there->begin(), there->end(), bytes.begin(), bytes.end());
}

// Under a later root the plain name may belong to the one before.
std::vector<std::string> names_aside(const std::string& path, const VersionBefore& before) {
  const std::filesystem::path whole(path);
  const std::string extension = whole.extension().string();
  const std::string plain =
      path.substr(0, path.size() - extension.size()) + "-v" + std::to_string(before.number);
  return {plain + extension, plain + "-" + to_hex(before.root.bytes).substr(0, 8) + extension};
}

}  // namespace

Result<std::string> write_next_version(const VersionPlace& place, const VersionBefore& before, ByteView next,
                                       std::vector<PendingFile> more) {
  if (!place.elsewhere.empty()) {
    more.push_back({place.elsewhere, next, FileMode::kPublic, Existing::kRefuse});
    CALSEAL_CHECK(write_files(more));
    return std::string();
  }
  const std::string& path = place.path;
  // Signing may have waited for a passphrase; who was quicker has made the version that this one would
  // replace.
  if (!stands(path, before.bytes))
    return taken(path, "another version than the one that was read", "the version that this one follows");
  for (const std::string& aside : names_aside(path, before)) {
    std::error_code error;
    const bool there = std::filesystem::exists(std::filesystem::symlink_status(aside, error));
    if (there && !stands(aside, before.bytes)) continue;
    if (!there) more.insert(more.begin(), {aside, before.bytes, FileMode::kPublic, Existing::kRefuse});
    more.push_back({path, next});
    CALSEAL_CHECK(write_files(more));
    return aside;
  }
  return taken(names_aside(path, before).back(), "another file",
               "a free name to put the version before aside");
}

}  // namespace calseal
