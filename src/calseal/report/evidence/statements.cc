#include <algorithm>
#include <map>

#include "calseal/base/text.h"
#include "calseal/report/evidence/evidence_report.h"
#include "calseal/trust/key.h"

namespace calseal {
namespace {

std::string revision_words(const RevisionClaim& claim) {
  return "Revision " + std::to_string(claim.revision) + " of base " + std::to_string(claim.base);
}

std::string witness_words(const LedgerReport::Time& time) {
  switch (time.by) {
    case Witness::kNobody:
      return "no head of the ledger holds it yet, so only its claimed time is there";
    case Witness::kHead:
      return "it was there by " + time.time + ", by a head that the shop's ledger key signed";
    case Witness::kPinned:
      return "it was there by " + time.time + ", by a head that the shop's root pinned";
    case Witness::kToken:
      return "it was there by " + time.time + ", by a time-stamp authority";
  }
  return {};
}

class Stating {
 public:
  explicit Stating(const JobEvidence& evidence) : evidence_(evidence) {}

  Statements run() {
    bundles();
    reads();
    ledger();
    shop_says();
    unknown();
    return std::move(said_);
  }

 private:
  void proved(std::string what, std::string by) { said_.proved.push_back({std::move(what), std::move(by)}); }
  void asserted(std::string what, std::string by) {
    said_.asserted.push_back({std::move(what), std::move(by)});
  }
  void unknown(std::string what, std::string by) {
    said_.unknown.push_back({std::move(what), std::move(by)});
  }

  std::string signers(const RevisionClaim& claim) const {
    std::string text;
    for (const KeyId& id : claim.signers) {
      const TrustedKey* const key = evidence_.chain.trust.find(id);
      text += (text.empty() ? "" : ", ") +
              (key == nullptr ? "key " + digest_text(id).substr(0, 16) : "\"" + printable(key->name) + "\"");
    }
    return text;
  }

  void bundles() {
    for (const FileFacts& facts : evidence_.record.files) {
      if (facts.kind != FileKind::kBundle) continue;
      const std::string file = "job/" + printable(facts.path);
      if (facts.fault || !facts.revision) {
        unknown(file + " does not hold: " +
                    printable(facts.fault ? facts.fault->found : std::string("no manifest"), 200) +
                    ". What it once said is not believed here.",
                facts.fault ? std::string(code(facts.fault->reason)) : std::string());
        continue;
      }
      const RevisionClaim& claim = *facts.revision;
      proved(revision_words(claim) + " (" + file + ") is whole, byte for byte, under the signature of " +
                 signers(claim) + ".",
             "signatures and digests, identity " + digest_text(claim.identity));
      if (facts.proof == Proof::kProved && claim.revision != 0) {
        proved(revision_words(claim) + " changes revision 0 only within the areas that region map " +
                   digest_text(claim.map).substr(0, 16) +
                   " declares; its checksums hold after it as its manifest says.",
               "image rebuilt from the bytes of revision 0, every byte compared");
      } else if (facts.proof == Proof::kNoBase) {
        unknown("Whether " + file + " stays within its declared areas: its revision 0 is not here.",
                "no base");
      }
      asserted(revision_words(claim) + " was sealed at " + claim.claimed_time + ".",
               "its signed manifest, by " + signers(claim));
    }
  }

  void reads() {
    std::map<Sha256, const FileFacts*> kept;
    for (const FileFacts& facts : evidence_.record.files) {
      if (facts.digest) kept.emplace(*facts.digest, &facts);
    }
    for (const FileFacts& facts : evidence_.record.files) {
      if (!facts.revision || facts.fault || facts.revision->revision != 0) continue;
      for (const NamedDigest& received : facts.revision->received) {
        const auto found = kept.find(received.digest);
        const std::string what =
            received.name.empty() ? "the read" : "the read of " + printable(received.name);
        if (found == kept.end()) {
          unknown("What " + what + " of base " + std::to_string(facts.revision->base) +
                      " looked like as a file: it is not here. Revision 0 carries its bytes.",
                  "no file with SHA-256 " + digest_text(received.digest));
        } else {
          proved("job/" + printable(found->second->path) + " is " + what + " that revision 0 of base " +
                     std::to_string(facts.revision->base) + " was sealed from.",
                 "SHA-256 in the signed manifest");
        }
      }
    }
  }

  void ledger() {
    if (!evidence_.ledger) return;
    for (const EvidenceEntry& entry : evidence_.ledger->entries) {
      const std::string what =
          std::string(entry_kind_name(entry.facts.kind)) + ", " + subject_text(entry.facts);
      if (entry.witnessed.by != Witness::kNobody) {
        proved("Entry " + std::to_string(entry.index) + " of the ledger (" + what +
                   ") has not changed since: " + witness_words(entry.witnessed) + ".",
               "RFC 9162 tree over ledger/entries.jsonl, details bound by HMAC");
      }
      asserted("It was " + what + ", at " + entry.facts.claimed_time +
                   (entry.facts.words.empty() ? "" : " (\"" + printable(entry.facts.words, 200) + "\")") +
                   ".",
               "the shop, in entry " + std::to_string(entry.index) + " of its ledger" +
                   (entry.witnessed.by == Witness::kNobody ? "; " + witness_words(entry.witnessed) : ""));
    }
  }

  void shop_says() {
    asserted("Root key " + digest_text(compute_key_id(evidence_.chain.trust.root)) + " is that of \"" +
                 printable(evidence_.chain.trust.shop) + "\".",
             evidence_.root_stated ? "whoever stated its fingerprint when this folder was made"
                                   : "the trust file itself; nobody stated its fingerprint");
    asserted(
        "The region maps describe the controller: which areas are calibration, and how checksums are "
        "computed.",
        "their author; a wrong map proves the wrong thing");
    if (!evidence_.job) return;
    if (!evidence_.job->facts.vehicle_reference.empty()) {
      asserted("The job is about \"" + printable(evidence_.job->facts.vehicle_reference) + "\".",
               "job.json and the signed manifests, in the shop's words");
    }
    for (const Event& event : evidence_.job->events) {
      if (event.kind == EventKind::kOpened || event.kind == EventKind::kSealed) continue;
      const std::string words = event.kind == EventKind::kOrdered ? event_words(event) : event.detail;
      asserted("At " + event.time + ": " + std::string(event_name(event.kind)) +
                   (event.revision ? ", revision " + std::to_string(*event.revision) : "") +
                   (words.empty() ? "" : " (\"" + printable(words, 200) + "\")") + ".",
               "the shop's notes (events.jsonl), which nobody signed");
    }
  }

  void unknown() {
    unknown(
        "Whether any of these files was ever written to a vehicle, unless somebody says so above; and what "
        "was in the controller before and after.",
        "no file proves a write");
    unknown(
        "Whether a calibration was fit for its engine, its fuel and its use, and whether it may be driven on "
        "a road.",
        "not a question of bytes; a matter for licensed people and the law");
    unknown("What caused a failure.", "this folder has no opinion on it");
    unknown("Who held a signing key at the time. A signature shows the key, not the hand.", "keys");
    unknown("When a revision was really sealed, beyond the times above that somebody else witnessed.",
            "claimed times are claims");
    if (!evidence_.ledger) {
      unknown("Whether revisions were sealed that are not in this folder.",
              evidence_.ledger_fault ? "the ledger could not be read" : "no ledger was given");
    } else {
      unknown("Whether revisions were sealed that the shop never entered in its ledger.",
              "a ledger proves what is in it");
      if (evidence_.ledger->report.erased != 0) {
        unknown("What " + grouped(evidence_.ledger->report.erased) +
                    " entries were about that were erased on request, this job's perhaps.",
                "their details are gone, as somebody asked");
      }
    }
    if (evidence_.salt_left_out) {
      unknown("Whether the reads are from the vehicle in question.",
              "the job's salt was left out; with it the binding fields can be compared");
    }
  }

  const JobEvidence& evidence_;
  Statements said_;
};

}  // namespace

Statements statements_of(const JobEvidence& evidence) { return Stating(evidence).run(); }

}  // namespace calseal
