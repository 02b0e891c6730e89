#include "calseal/ledger/layout.h"

#include <sys/stat.h>

#include "calseal/base/text.h"
#include "calseal/trust/statement.h"
#include "calseal/trust/tree_head.h"

namespace calseal {
namespace {

std::string numbered(std::uint64_t size, std::string_view extension) {
  std::string digits = std::to_string(size);
  if (digits.size() < 12) digits.insert(0, 12 - digits.size(), '0');
  return std::string(kHeadsFolder) + "/" + digits + std::string(extension);
}

}  // namespace

void ledger_line_fields(Fields& field, Sha256& id) {
  field.kind_of_file("ledger/1");
  field("id", id, kDigest);
}

std::string write_ledger_line(const Sha256& id) { return canonical_text(id, ledger_line_fields) + "\n"; }

Result<Sha256> parse_ledger_line(ByteView line, const std::string& name) {
  CALSEAL_CHECK(check_kind(line, kLedgerLiteral, name));
  return parse_canonical_text(line, Reason::kLedgerDamaged, ledger_line_fields, name);
}

std::string ledger_folder(const std::string& path) {
  std::string folder = path;
  struct stat status {};
  if (::stat(path.c_str(), &status) == 0 && !S_ISDIR(status.st_mode)) {
    const std::size_t slash = path.rfind('/');
    folder = slash == std::string::npos ? "." : slash == 0 ? "/" : path.substr(0, slash);
  }
  while (folder.size() > 1 && folder.ends_with('/')) folder.pop_back();
  return folder;
}

std::string head_file(std::uint64_t size) { return numbered(size, ".head"); }
std::string token_file(std::uint64_t size) { return numbered(size, ".tsr"); }

}  // namespace calseal
