#include "calseal/cli/ledger/append_entries.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/check/receipt.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/revision_facts.h"
#include "calseal/ledger/told.h"

namespace calseal {
namespace {

// What shows that the customer has it: words for the entry, and the digest of the receipt.
Result<std::pair<std::string, std::optional<Sha256>>> proof_of_receipt(const AppendOptions& options,
                                                                       const LoadedRevision& revision) {
  if (!options.receipt.empty()) {
    CALSEAL_ASSIGN(const Bytes bytes, read_file(options.receipt, kReceiptSizeLimit));
    CALSEAL_ASSIGN(const Receipt receipt, parse_receipt(bytes, printable(options.receipt)));
    CALSEAL_CHECK(check_receipt(receipt, revision.digest, printable(options.receipt)));
    CALSEAL_CHECK(check_fingerprint(receipt, options.fingerprint, printable(options.receipt)));
    return std::pair("receipt by key " + digest_text(compute_key_id(receipt.key)),
                     std::optional(compute_sha256(bytes)));
  }
  if (!options.code.empty()) {
    if (options.salt.empty())
      return fail(
          usage_error("--code", "a code without the job's salt", "--salt beside it", "give the job's salt"));
    CALSEAL_ASSIGN(const Bytes text, read_file(options.salt, 4096));
    CALSEAL_ASSIGN(const Bytes salt, parse_salt(text, printable(options.salt)));
    CALSEAL_CHECK(check_receipt_code(options.code, revision.digest, salt));
    return std::pair(std::string("code read aloud"), std::optional<Sha256>());
  }
  return std::pair(options.words.empty() ? std::string("word") : options.words, std::optional<Sha256>());
}

}  // namespace

Result<std::vector<NewEntry>> make_entries(const AppendOptions& options) {
  const EntryKind kind = *find_entry_kind(options.kind);
  CALSEAL_CHECK(judge_words(kind, options.words));
  CALSEAL_ASSIGN(const LoadedTrust trust, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time, "--time"));
  std::vector<NewEntry> entries;
  for (const std::string& path : options.bundles) {
    CALSEAL_ASSIGN(const LoadedRevision revision, load_revision(path, trust.trust));
    if (kind == EntryKind::kWithdrawn && revision.manifest.revision == 0)
      return fail(
          usage_error("BUNDLE", "revision 0, the way back", "a later revision", "it cannot be withdrawn"));
    // Whatever happened to it, it was sealed first.
    entries.push_back(sealed_entry(revision.manifest, revision.digest));
    if (kind == EntryKind::kSealed) continue;
    std::string words = options.words;
    std::optional<Sha256> file;
    if (kind == EntryKind::kSent) file = revision.file_digest;
    if (kind == EntryKind::kReceived) {
      CALSEAL_ASSIGN(std::tie(words, file), proof_of_receipt(options, revision));
    }
    entries.push_back(entry_about(revision.manifest, revision.digest, kind, time_text(now), words, file));
    entries.back().same_at_any_time = options.time.empty();
  }
  return entries;
}

}  // namespace calseal
