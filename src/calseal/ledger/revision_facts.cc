#include "calseal/ledger/revision_facts.h"

namespace calseal {

NewEntry entry_about(const Manifest& manifest, const Sha256& digest, EntryKind kind, const std::string& time,
                     const std::string& words, const std::optional<Sha256>& file) {
  NewEntry entry;
  entry.facts.about = digest;
  entry.facts.kind = kind;
  entry.facts.claimed_time = time;
  entry.facts.job = manifest.job;
  entry.facts.controller = manifest.controller().name;
  entry.facts.base = manifest.base_number;
  entry.facts.revision = manifest.revision;
  entry.facts.sequence = manifest.sequence;
  entry.facts.words = words;
  entry.facts.file = file;
  return entry;
}

NewEntry sealed_entry(const Manifest& manifest, const Sha256& digest) {
  NewEntry entry = entry_about(manifest, digest, EntryKind::kSealed, manifest.claimed_time, "", std::nullopt);
  entry.same_at_any_time = true;
  return entry;
}

}  // namespace calseal
