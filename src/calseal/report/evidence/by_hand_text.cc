#include <algorithm>
#include <set>

#include "calseal/base/text.h"
#include "calseal/ledger/layout.h"
#include "calseal/report/evidence/evidence_report.h"
#include "calseal/report/evidence/shell_word.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

// Bundles that hold, revisions 0 first, then as they follow.
std::vector<const FileFacts*> good_bundles(const JobEvidence& evidence) {
  std::vector<const FileFacts*> good;
  for (const FileFacts& facts : evidence.record.files) {
    if (facts.revision && !facts.fault) good.push_back(&facts);
  }
  std::ranges::stable_sort(good, {}, [](const FileFacts* facts) {
    return std::tuple(facts->revision->base, facts->revision->revision != 0, facts->revision->sequence);
  });
  return good;
}

std::string bundles_step(const JobEvidence& evidence) {
  std::string text =
      "3. The bundles\n\n"
      "Every signature, every content, every image rebuilt and compared; no changed byte in a locked span. "
      "by-hand/bundle.py is\n"
      "short: read it before you run it.\n\n";
  const std::vector<const FileFacts*> good = good_bundles(evidence);
  if (!good.empty()) {
    text += "$ python3 by-hand/bundle.py keys";
    for (const FileFacts* facts : good) text += " " + shell_word("job/" + facts->path);
    text += "\n";
  }
  for (const FileFacts& facts : evidence.record.files) {
    if (facts.kind == FileKind::kBundle && (facts.fault || !facts.revision))
      text += "\nNot in that command, because it does not hold: job/" + printable(facts.path) + "\n";
  }
  return text + "\n";
}

std::string reads_step(const JobEvidence& evidence) {
  std::string lines;
  std::set<std::string> done;
  for (const FileFacts& facts : evidence.record.files) {
    if (!facts.revision || facts.fault || facts.revision->revision != 0) continue;
    for (const NamedDigest& received : facts.revision->received) {
      for (const FileFacts& file : evidence.record.files) {
        if (file.digest == received.digest && file.kind != FileKind::kBundle && done.insert(file.path).second)
          lines += "$ test \"$(sha256sum < " + shell_word("job/" + file.path) +
                   " | cut -c1-64)\" = " + digest_text(received.digest) + "\n";
      }
    }
  }
  if (lines.empty()) return {};
  return "4. The reads\n\nEach of these files has the SHA-256 that the manifest of revision 0 names under "
         "\"files\".\n\n" +
         lines + "\n";
}

std::string ledger_step(const JobEvidence& evidence) {
  if (!evidence.ledger) return "5. The ledger\n\nNone is in this folder.\n\n";
  std::string files;
  for (const JudgedHead& head : evidence.ledger->report.heads) {
    if (head.holds)
      files +=
          " " + shell_word(head.kept_here ? "ledger/" + head_file(head.head.tree.size) : "job/" + head.file);
  }
  for (const EvidenceEntry& entry : evidence.ledger->entries) {
    if (!entry.proof.empty()) files += " " + shell_word(entry.proof);
  }
  return "5. The ledger\n\n"
         "Signed heads are held against all entries, this job's details against their entries, proofs "
         "against the heads (RFC 9162).\n"
         "A head that somebody else kept is the best of all: give it to the same command.\n\n"
         "$ python3 by-hand/ledger.py keys ledger/entries.jsonl ledger/this-job.jsonl" +
         files + "\n\n";
}

}  // namespace

std::string evidence_by_hand(const JobEvidence& evidence) {
  const std::string root = digest_text(compute_key_id(evidence.chain.trust.root));
  return "How to verify this folder without calseal\n"
         "=========================================\n\n"
         "You need a POSIX shell with coreutils, openssl 3 and python3 with its standard library. Lines that "
         "begin with \"$ \" are to be\n"
         "typed in this folder, in their order, in one session; each ends without an error when all is well. "
         "No calseal is needed, and\n"
         "no private key. Work on a copy.\n\n"
         "1. Nothing has changed since the folder was made\n\n"
         "$ sha256sum --quiet -c SHA256SUMS\n\n"
         "That list cannot vouch for itself. Whoever receives the folder writes down the digest of it, or "
         "has it stamped, on that day:\n\n"
         "$ sha256sum SHA256SUMS\n\n"
         "2. Whose keys these are\n\n"
         "The root key's id is the SHA-256 of the key:\n"
         "    " +
         root +
         "\n"
         "as the shop reads it aloud:\n"
         "    " +
         spoken_code(Spoken::kKey, compute_key_id(evidence.chain.trust.root)) +
         "\n"
         "Ask the shop, or somebody who wrote it down, by another way than this folder.\n\n"
         "$ test \"$(openssl pkey -pubin -in keys/" +
         root + ".pem -outform DER | sha256sum | cut -c1-64)\" = " + root +
         "\n\n"
         "The trust file is one line of JSON, signed by the root in the line below it:\n\n"
         "$ work=$(mktemp -d)\n"
         "$ head -n 1 trust/shop.trust | tr -d '\\n' > \"$work/text\"\n"
         "$ test \"$(sed -n 2p trust/shop.trust | cut -d' ' -f1)\" = " +
         root +
         "\n"
         "$ sed -n 2p trust/shop.trust | cut -d' ' -f2 | python3 -c 'import sys; s = sys.stdin.read()[:-1]; "
         "b = bytes.fromhex(s); "
         "sys.exit(1) if b.hex() != s else sys.stdout.buffer.write(b)' > \"$work/signature\"\n"
         "$ openssl pkeyutl -verify -rawin -pubin -inkey keys/" +
         root +
         ".pem -in \"$work/text\" -sigfile \"$work/signature\"\n\n"
         "Which keys it lists, with what roles, from when until when:\n\n"
         "$ python3 -c 'import json, sys; [print(k[\"id\"], k[\"name\"], k[\"roles\"], k[\"valid_from\"], "
         "k[\"valid_until\"] or \"-\", k[\"state\"]) for k in json.load(open(sys.argv[1]))[\"keys\"]]' "
         "\"$work/text\"\n\n" +
         bundles_step(evidence) + reads_step(evidence) + ledger_step(evidence) +
         "6. What was compared with what\n\n"
         "bundle.py proves spans and locked bytes. That derived bytes are the right checksums, and that the "
         "manifest's claims are all true,\n"
         "is what `calseal audit job --trust trust/shop.trust --depth proved` proves besides; "
         "docs/bundle-format.md of calseal is enough to\n"
         "write such a program again.\n";
}

}  // namespace calseal
