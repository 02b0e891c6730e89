#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/check.h"
#include "calseal/check/confirm.h"
#include "calseal/check/receipt.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/revision_facts.h"
#include "calseal/report/ledger/ledger_report.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

struct AppendOptions {
  std::string folder, kind, trust, words, time, receipt, fingerprint, code, salt;
  std::vector<std::string> bundles;
};

Status judge_words(const AppendOptions& options, EntryKind kind) {
  if (!is_line(options.words))
    return fail(
        usage_error("--words", printable(options.words, 80), "one line of at most 200 bytes", "shorten it"));
  if ((kind == EntryKind::kSent || kind == EntryKind::kWithdrawn) && options.words.empty())
    return fail(
        usage_error("--words", "no words", kind == EntryKind::kSent ? "the channel" : "why", "state them"));
  if (kind != EntryKind::kConfirmed) return {};
  for (const ProofGrade grade :
       {ProofGrade::kBytes, ProofGrade::kVerificationNumber, ProofGrade::kIdentity}) {
    if (options.words == proof_grade_name(grade)) return {};
  }
  return fail(usage_error("--words", printable(options.words, 80), "bytes, verification-number or identity",
                          "take the grade that calseal confirm says"));
}

// The key is the customer's only because he read its fingerprint aloud.
Status check_fingerprint(const Receipt& receipt, const std::string& told, const std::string& name) {
  if (told.empty()) return {};
  const SpokenReading heard = read_spoken_code(told, Spoken::kKey);
  if (!heard.fault.empty())
    return fail(usage_error("--fingerprint", "\"" + printable(told, 80) + "\"",
                            "the code of the customer's key; here " + heard.fault,
                            "ask him to read it again"));
  const std::string code = spoken_code(Spoken::kKey, compute_key_id(receipt.key));
  if (heard.code == code) return {};
  return fail({Reason::kReceiptInvalid, name, "key", code,
               heard.code + ": " + spoken_difference(code, heard.code),
               "it was signed with another key than the customer's; call him"});
}

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

Result<std::vector<NewEntry>> make_entries(const AppendOptions& options) {
  const EntryKind kind = *find_entry_kind(options.kind);
  CALSEAL_CHECK(judge_words(options, kind));
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

Result<int> run(const AppendOptions& options, const Console& console) {
  const bool proof = !options.receipt.empty() || !options.code.empty();
  if (proof && (options.kind != "received" || options.bundles.size() != 1))
    return fail(
        usage_error("--receipt", "a receipt or a code", "with received and one bundle", "state that"));
  Progress progress(console, 2);
  progress.begin("verifying the bundles");
  CALSEAL_ASSIGN(const std::vector<NewEntry> entries, make_entries(options));
  progress.begin("entering what is not there yet");
  CALSEAL_ASSIGN(const Appended appended, append_entries(options.folder, entries));
  std::string text;
  JsonValue listed = json_array(std::vector<int>(), [](int i) { return json(i); });
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const LedgerFacts& facts = entries[i].facts;
    const AppendedEntry& place = appended.entries[i];
    text += std::string(place.was_there ? "was there  " : "appended   ") + "entry " + grouped(place.index) +
            ": " + std::string(entry_kind_name(facts.kind)) + ", " + facts.job + ", " + facts.controller +
            ", base " + std::to_string(facts.base) + ", revision " + std::to_string(facts.revision) + "\n";
    listed.items.push_back(json_object({{"entry", json(place.index)},
                                        {"was_there", json(place.was_there)},
                                        {"kind", json(entry_kind_name(facts.kind))},
                                        {"identity", json_digest(facts.about)}}));
  }
  if (appended.torn_bytes != 0)
    text += "took out   " + bytes_text(appended.torn_bytes) + " that a writer left who was cut off\n";
  if (appended.adopted != 0)
    text += "adopted    " + grouped(appended.adopted) + " whole entries that a writer left who was cut off\n";
  text += labelled(page_for(console), "head", tree_head_text(appended.head));
  console.print(text);
  console.print_json(json_object({{"calseal", json("ledger-append/1")},
                                  {"ledger", json(printable(options.folder, kShownPathLimit))},
                                  {"entries", listed},
                                  {"torn_bytes", json(appended.torn_bytes)},
                                  {"adopted", json(appended.adopted)},
                                  {"head", tree_head_json(appended.head)}}));
  return 0;
}

}  // namespace

void add_ledger_append_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command =
      ledger.add_subcommand("append", "Enter what happened to revisions; what is there already stays");
  auto o = std::make_shared<AppendOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->required();
  command
      ->add_option("KIND", o->kind,
                   "sealed, sent, received, cautions-accepted, written, confirmed, withdrawn or closed")
      ->required()
      ->one_of(
          {"sealed", "sent", "received", "cautions-accepted", "written", "confirmed", "withdrawn", "closed"});
  command->add_option("BUNDLE", o->bundles, "Bundles of the revisions; that they were sealed is entered too")
      ->required();
  command->add_option("--trust", o->trust, "The shop's trust file")->required();
  command->add_option("--words", o->words,
                      "sent: the channel; confirmed: the grade of proof; withdrawn: why; else what you like");
  command->add_option("--time", o->time,
                      "When it happened, instead of now (UTC); stated, another time is another entry");
  command->add_option("--receipt", o->receipt, "received: the receipt that the customer's checker wrote");
  command->add_option("--fingerprint", o->fingerprint,
                      "With --receipt: the fingerprint of the customer's key, as he read it aloud");
  command->add_option("--code", o->code, "received: the code that the customer read aloud (with --salt)");
  command->add_option("--salt", o->salt, "The job's salt, for --code");
  set_command(
      *command, console,
      {"calseal ledger append shop-ledger sealed oak-17/base-1/*.calseal --trust shop.trust",
       "calseal ledger append shop-ledger sent r1.calseal --words mail --trust shop.trust",
       "calseal ledger append shop-ledger received r1.calseal --receipt r1.receipt --trust shop.trust"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
