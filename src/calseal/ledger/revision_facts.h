// What the ledger notes about a revision, out of its bundle.
#pragma once

#include <optional>
#include <string>

#include "calseal/bundle/manifest.h"
#include "calseal/digest/sha256.h"
#include "calseal/ledger/append.h"

namespace calseal {

// That it was sealed, at the time that its manifest claims; once, whatever else is signed on it later.
NewEntry sealed_entry(const Manifest& manifest, const Sha256& digest);

// That something else happened to it. `file`: of what was handed over or received.
NewEntry entry_about(const Manifest& manifest, const Sha256& digest, EntryKind kind, const std::string& time,
                     const std::string& words, const std::optional<Sha256>& file);

}  // namespace calseal
