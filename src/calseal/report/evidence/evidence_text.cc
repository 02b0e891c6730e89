#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/report/evidence/evidence_report.h"
#include "calseal/report/evidence/statement_parts.h"
#include "calseal/trust/key.h"

namespace calseal {
namespace {

std::string title(const JobEvidence& evidence) {
  if (!evidence.job) return "a job folder";
  return "job " + evidence.job->facts.job + ", " + evidence.job->facts.controller;
}

}  // namespace

std::string evidence_readme(const JobEvidence& evidence) {
  const Statements said = statements_of(evidence);
  std::string text =
      "Evidence: " + title(evidence) + "\n\n" +
      filled(
          "Everything that a shop has kept about one job, as it lay in its folder, with what can be proved "
          "about it from bytes, what is only "
          "said and by whom, and what nobody can know from it. There is no opinion here on any cause.") +
      "\nevidence.html   the same for reading and print; evidence.json for programs\n"
      "VERIFY.txt      how to verify it without calseal, command by command\n"
      "SHA256SUMS      the digest of every other file\n"
      "job/            the job's folder as it is, damaged files included\n"
      "trust/, keys/   trust files, successions, withdrawals; every key that they name, for openssl\n"
      "ledger/         the shop's ledger: all entries (nobody can tell from one what it is about), this "
      "job's details, heads, proofs\n"
      "by-hand/        the two short programs that VERIFY.txt uses\n\n" +
      filled(
          "CAUTION. This folder is for looking, not for writing into a vehicle. Files in it may be "
          "withdrawn, damaged or meant for another "
          "vehicle. Reads and revisions 0 may hold the VIN and what a vehicle has learned; notes may name "
          "people. Hand it on only to whom "
          "the law lets you.") +
      "\nPROVED\n\n" + statement_list(said.proved) + "\nASSERTED\n\n" + statement_list(said.asserted) +
      "\nUNKNOWN\n\n" + statement_list(said.unknown);
  if (!evidence.findings.empty()) {
    text += "\nWHAT IS NOT AS IT SHOULD BE\n\n";
    text += finding_list(evidence.findings);
  }
  if (!evidence.left_out.empty()) {
    text += "\nLEFT OUT\n\n";
    for (const std::string& path : evidence.left_out) text += "- " + printable(path, 1000) + "\n";
    if (evidence.salt_left_out)
      text += filled(
          "The salt of the job makes VINs testable; it goes along only when it is asked for (--with-salt).");
  }
  return text;
}

JsonValue evidence_json(const JobEvidence& evidence) {
  const Statements said = statements_of(evidence);
  JsonValue value = json_object(
      {{"calseal", json("evidence/1")},
       {"job", json(evidence.job ? evidence.job->facts.job : "")},
       {"controller", json(evidence.job ? evidence.job->facts.controller : "")},
       {"root_id", json_digest(compute_key_id(evidence.chain.trust.root))},
       {"root_stated", json(evidence.root_stated)},
       {"bundles", json(count_bundles(evidence, true))},
       {"bundles_damaged", json(count_bundles(evidence, false))},
       {"ledger", json(evidence.ledger.has_value())},
       {"ledger_entries", json(evidence.ledger ? std::uint64_t{evidence.ledger->entries.size()} : 0)},
       {"with_salt", json(!evidence.salt_left_out)}});
  value.members.emplace_back("trust_versions", json_array(evidence.versions, [](const TrustVersion& version) {
                               return json_object({{"file", json(version.file)},
                                                   {"version", json(version.trust.version)},
                                                   {"claimed_time", json(version.trust.claimed_time)}});
                             }));
  value.members.emplace_back("findings", findings_json(evidence.findings));
  value.members.emplace_back(
      "left_out", json_array(evidence.left_out, [](const std::string& path) { return json(path); }));
  value.members.emplace_back("proved", statements_json(said.proved));
  value.members.emplace_back("asserted", statements_json(said.asserted));
  value.members.emplace_back("unknown", statements_json(said.unknown));
  return value;
}

std::string evidence_text(const JobEvidence& evidence, const Page& page) {
  const Statements said = statements_of(evidence);
  std::string text = "Evidence about " + printable(title(evidence), 400) + "\n\n";
  text += labelled(page, "bundles",
                   counted(count_bundles(evidence, true), "bundle holds", "bundles hold") +
                       (count_bundles(evidence, false) == 0
                            ? ""
                            : ", " + counted(count_bundles(evidence, false), "does not", "do not")));
  text += labelled(
      page, "ledger",
      evidence.ledger ? counted(evidence.ledger->entries.size(), "entry", "entries") + " about this job"
      : evidence.ledger_fault ? "cannot be read [" + std::string(code(evidence.ledger_fault->reason)) + "]"
                              : "none given");
  text += labelled(page, "proved", counted(said.proved.size(), "statement", "statements"), Mark::kGood);
  text += labelled(page, "asserted", counted(said.asserted.size(), "statement", "statements"));
  text += labelled(page, "unknown", counted(said.unknown.size(), "statement", "statements"));
  text += labelled_findings(evidence.findings, page);
  for (const std::string& path : evidence.left_out)
    text += labelled(page, "left out", printable(path, 1000), Mark::kCaution);
  return text;
}

}  // namespace calseal
