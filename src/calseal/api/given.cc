#include "calseal/api/given.h"

#include "calseal/base/text.h"
#include "calseal/check/check.h"

namespace calseal::api {

std::vector<ReadFile> read_files(const std::vector<File>& files) {
  std::vector<ReadFile> out;
  for (const File& file : files) out.push_back({file.memory, printable(file.name), file.bytes});
  return out;
}

NamedBytes named(const File& file) { return {printable(file.name), file.bytes}; }

std::optional<NamedBytes> named(const std::optional<File>& file) {
  return file ? std::optional<NamedBytes>(named(*file)) : std::nullopt;
}

std::vector<NamedBytes> named(const std::vector<File>& files) {
  std::vector<NamedBytes> out;
  for (const File& file : files) out.push_back(named(file));
  return out;
}

Result<std::optional<Bytes>> salt_of(const std::optional<File>& file) {
  std::optional<Bytes> salt;
  if (file) {
    CALSEAL_ASSIGN(salt, parse_salt(file->bytes, printable(file->name)));
  }
  return salt;
}

}  // namespace calseal::api
