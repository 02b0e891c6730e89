#include "calseal/job/ledger_link.h"

#include <filesystem>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/layout.h"
#include "calseal/ledger/reader.h"
#include "calseal/ledger/revision_facts.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::size_t kPathLimit = 4096;  // bytes

void link_fields(Fields& field, std::string& ledger) {
  field.kind_of_file("job-ledger/1");
  field("ledger", ledger, Text{kPathLimit});
}

std::optional<EntryKind> kind_of(EventKind kind) {
  switch (kind) {
    case EventKind::kSent:
      return EntryKind::kSent;
    case EventKind::kAcknowledged:
      return EntryKind::kReceived;
    case EventKind::kWritten:
      return EntryKind::kWritten;
    case EventKind::kConfirmed:
      return EntryKind::kConfirmed;
    case EventKind::kWithdrawn:
      return EntryKind::kWithdrawn;
    default:
      return std::nullopt;
  }
}

NewEntry parcel_entry(const Job& job, const Event& event) {
  NewEntry entry;
  entry.facts.kind = EntryKind::kParcelTaken;
  entry.facts.claimed_time = event.time;
  entry.facts.about = *event.digest;
  entry.facts.job = job.facts.job;
  entry.facts.controller = job.facts.controller;
  entry.facts.base = event.base;
  entry.facts.words = "number " + std::to_string(event.parcel->number) + " by key " +
                      spoken_code(Spoken::kKey, event.parcel->key);
  return entry;
}

}  // namespace

Status link_ledger(const std::string& folder, const std::string& ledger) {
  CALSEAL_CHECK(LedgerReader::open(ledger));
  std::error_code error;
  const auto there = std::filesystem::weakly_canonical(std::filesystem::absolute(ledger, error), error);
  const auto here = std::filesystem::weakly_canonical(std::filesystem::absolute(folder, error), error);
  const std::string path = there.lexically_relative(here).string();
  if (error || path.empty() || path.size() > kPathLimit || !is_utf8(path)) {
    return fail({Reason::kUsage, printable(ledger), "", "a path that cannot be kept",
                 "a shorter path in UTF-8", "move the ledger to such a place"});
  }
  return write_file(folder + "/" + std::string(kLedgerLinkFile),
                    view_of(canonical_text(path, link_fields) + "\n"));
}

Result<std::optional<std::string>> linked_ledger(const std::string& folder) {
  const std::string path = folder + "/" + std::string(kLedgerLinkFile);
  const auto bytes = read_file(path, 2 * kPathLimit);
  if (!bytes && bytes.error().reason == Reason::kFileMissing) return std::optional<std::string>();
  if (!bytes) return fail(bytes.error());
  ByteView line = *bytes;
  if (line.back() == '\n') line = line.first(line.size() - 1);
  CALSEAL_ASSIGN(const std::string ledger,
                 parse_canonical_text(line, Reason::kJobDamaged, link_fields, printable(path)));
  const std::filesystem::path kept(ledger);
  return std::optional(kept.is_absolute() ? ledger : folder + "/" + ledger);
}

std::vector<NewEntry> ledger_entries_of(const Job& job) {
  std::vector<NewEntry> entries;
  for (const JobBase& base : job.bases) {
    for (const JobRevision& revision : base.revisions) {
      if (revision.verified) entries.push_back(sealed_entry(revision.manifest, revision.digest));
    }
  }
  for (const Event& event : job.events) {
    if (event.kind == EventKind::kReceived && event.parcel && event.digest) {
      entries.push_back(parcel_entry(job, event));
      continue;
    }
    const auto kind = kind_of(event.kind);
    const JobRevision* revision = event.identity ? job.find(*event.identity) : nullptr;
    if (!kind || revision == nullptr) continue;
    std::string words = event.detail;
    if (*kind == EntryKind::kReceived && words.empty()) words = "word";
    entries.push_back(entry_about(revision->manifest, revision->digest, *kind, event.time, words,
                                  *kind == EntryKind::kSent ? event.digest : std::nullopt));
  }
  return entries;
}

Result<std::optional<EnteredJob>> enter_job(const Job& job) {
  CALSEAL_ASSIGN(const std::optional<std::string> ledger, linked_ledger(job.folder));
  if (!ledger) return std::optional<EnteredJob>();
  auto appended = append_entries(*ledger, ledger_entries_of(job));
  if (!appended) {
    Error error = appended.error();
    error.next += "; the job's folder is whole: calseal job ledger enters later what is missing";
    return fail(std::move(error));
  }
  EnteredJob entered;
  entered.ledger = *ledger;
  entered.head = appended->head;
  for (const AppendedEntry& entry : appended->entries)
    ++(entry.was_there ? entered.was_there : entered.added);
  return std::optional(std::move(entered));
}

std::string head_beside(const std::string& bundle) {
  constexpr std::string_view kExtension = ".calseal";
  return (bundle.ends_with(kExtension) ? bundle.substr(0, bundle.size() - kExtension.size()) : bundle) +
         ".head";
}

Result<std::string> head_to_place(const HeadSigning& signing, EnteredJob& entered) {
  if (signing.keys != nullptr) {
    CALSEAL_ASSIGN(MadeHead made, sign_head(entered.ledger, *signing.keys, *signing.trust, signing.now));
    entered.head_is_new = true;
    return std::move(made.text);
  }
  CALSEAL_ASSIGN(const auto newest, newest_head(entered.ledger));
  return newest ? std::string(text_of(newest->bytes)) : std::string();
}

}  // namespace calseal
