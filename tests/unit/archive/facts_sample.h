// What an audit would see in a small archive in which all is well: one job, two revisions, a ledger.
#pragma once

#include <map>
#include <string>

#include "calseal/archive/record.h"
#include "calseal/job/layout.h"

namespace calseal {

inline Sha256 digest_of(const std::string& text) { return compute_sha256(view_of(text)); }

class FactsSample {
 public:
  FactsSample() {
    scope.folders = {"archive"};
    scope.depth = Depth::kProved;
    scope.trust = digest_of("trust file");
    scope.roots = {digest_of("root")};

    FileFacts& trust = add("shop.trust", FileKind::kTrustFile);
    trust.statement = StatementClaim{3, "2026-01-02T03:04:05Z", "", "", {digest_of("root")}};
    JobClaim job;
    job.job = "oak-17";
    job.controller = "engine";
    add("oak/job.json", FileKind::kJobFacts).job = job;
    JobClaim notes;
    notes.sealed = {{digest_of("oak/base-1/r0.calseal"), 1, 0, 1},
                    {digest_of("oak/base-1/r1.calseal"), 1, 1, 2}};
    notes.attached = {{"logs/drive.csv", digest_of("oak/logs/drive.csv")}};
    add("oak/events.jsonl", FileKind::kJobEvents).job = notes;
    add("oak/logs/drive.csv", FileKind::kUnknown);
    add("oak/job.salt", FileKind::kSalt).salt = digest_of("salt");
    add("oak/base-1/regions.json", FileKind::kRegionMap);
    add("oak/base-1/read/program.bin", FileKind::kUnknown).size = 4096;
    add("oak/base-1/options/lamp.json", FileKind::kOption);
    add("notes.txt", FileKind::kUnknown);

    LedgerClaim ledger;
    ledger.id = digest_of("ledger");
    FileFacts& entries = add("ledger/entries.jsonl", FileKind::kLedgerEntries);
    entries.ledger = ledger;
    add("ledger/details.jsonl", FileKind::kLedgerDetails);
    add("ledger/tip.json", FileKind::kLedgerTip);

    RevisionClaim& first = *bundle("oak/base-1/r0.calseal", "engine", 0, 1).revision;
    first.received = {{"program", digest_of("oak/base-1/read/program.bin")}};
    RevisionClaim& second = *bundle("oak/base-1/r1.calseal", "engine", 1, 2).revision;
    second.parent = digest_of("oak/base-1/r0.calseal");
    second.options = {digest_of("oak/base-1/options/lamp.json")};
  }

  // A file that holds; its digest is that of its path.
  FileFacts& add(const std::string& path, FileKind kind) {
    FileFacts facts;
    facts.path = path;
    facts.size = 100;
    facts.kind = kind;
    facts.digest = digest_of(path);
    return files[path] = facts;
  }

  // A bundle that holds and was entered; its identity is the digest of its path.
  FileFacts& bundle(const std::string& path, const std::string& controller, std::uint64_t revision,
                    std::uint64_t sequence) {
    RevisionClaim claim;
    claim.identity = digest_of(path);
    claim.seal = digest_of("seal of " + path);
    claim.job = "oak-17";
    claim.controller = controller;
    claim.revision = revision;
    claim.sequence = sequence;
    claim.salt = digest_of("salt");
    claim.claimed_time = "2026-01-02T03:04:05Z";
    claim.map = digest_of("oak/base-1/regions.json");
    FileFacts& facts = add(path, FileKind::kBundle);
    facts.digest.reset();
    facts.revision = claim;
    facts.proof = Proof::kProved;
    std::vector<LedgerSeal>& entered = seals();
    entered.push_back({entered.size(), claim.identity, claim.job, controller, 1, revision, sequence, {}});
    return facts;
  }

  FileFacts& at(const std::string& path) { return files.at(path); }
  std::vector<LedgerSeal>& seals() { return files.at("ledger/entries.jsonl").ledger->seals; }

  AuditRecord record() const {
    AuditRecord made;
    made.scope = scope;
    for (const auto& [path, facts] : files) made.files.push_back(facts);
    made.scope.files = made.files.size();
    return made;
  }

  AuditScope scope;
  std::map<std::string, FileFacts> files;
};

}  // namespace calseal
