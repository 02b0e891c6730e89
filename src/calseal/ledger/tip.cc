#include "calseal/ledger/tip.h"

#include <bit>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/ledger/layout.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

tl::unexpected<Error> tip_damaged(const std::string& name, std::string found, std::string expected) {
  return fail({Reason::kLedgerDamaged, name, "", std::move(found), std::move(expected),
               "put it back from a copy, or see calseal ledger repair"});
}

}  // namespace

void tip_fields(Fields& field, LedgerTip& tip) {
  field.kind_of_file("ledger-tip/1");
  field("id", tip.id, kDigest);
  field("size", tip.size, Integer{0, kLedgerEntryLimit});
  field("bytes", tip.bytes, Integer{1, kLedgerFileLimit});
  field("peaks", tip.peaks, List{kDigest, 64});
}

std::string write_ledger_tip(const LedgerTip& tip) { return canonical_text(tip, tip_fields) + "\n"; }

Result<LedgerTip> parse_ledger_tip(ByteView file, const std::string& name) {
  CALSEAL_CHECK(check_kind(file, kTipLiteral, name));
  if (file.size() > kTipSizeLimit || file.back() != '\n')
    return tip_damaged(name, bytes_text(file.size()) + ", or no line end", "one line, ended by LF");
  CALSEAL_ASSIGN(LedgerTip tip,
                 parse_canonical_text(file.first(file.size() - 1), Reason::kLedgerDamaged, tip_fields, name));
  if (tip.peaks.size() != static_cast<std::size_t>(std::popcount(tip.size)))
    return tip_damaged(name, std::to_string(tip.peaks.size()) + " hashes",
                       std::to_string(std::popcount(tip.size)) + " for " + grouped(tip.size) + " entries");
  return tip;
}

Result<LedgerTip> read_ledger_tip(const std::string& folder) {
  const std::string path = folder + "/" + std::string(kTipFile);
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kTipSizeLimit));
  return parse_ledger_tip(bytes, printable(path));
}

}  // namespace calseal
