#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/report/evidence/statement_parts.h"
#include "calseal/report/evidence/vehicle_evidence_report.h"

namespace calseal {
namespace {

std::string vehicle_title(const VehicleEvidence& evidence) {
  return evidence.job ? "job " + evidence.job->facts.job + ", the whole vehicle" : "a vehicle's job folder";
}

std::string bundle_words(const JobEvidence& evidence) {
  const std::uint64_t damaged = count_bundles(evidence, false);
  return counted(count_bundles(evidence, true), "bundle holds", "bundles hold") +
         (damaged == 0 ? "" : ", " + counted(damaged, "does not", "do not"));
}

std::string finding_words(std::size_t count) {
  return count == 0 ? "" : "; " + counted(count, "finding", "findings");
}

JsonValue member_json(const VehicleEvidence& evidence, const JobSet::Member& member) {
  const JobRevision* const here = member.here ? member.here->revision : nullptr;
  return json_object({{"controller", json(member.named->controller)},
                      {"base", json(member.named->base)},
                      {"sequence", json(member.named->sequence)},
                      {"revision", json(here == nullptr ? std::uint64_t{0} : here->number())},
                      {"identity", json(here == nullptr ? std::string() : digest_text(here->digest))},
                      {"file", json(here == nullptr ? std::string() : evidence.file_of(*member.here))}});
}

JsonValue set_json(const VehicleEvidence& evidence, const JobSet& set) {
  return json_object(
      {{"set", json_digest(set.identity)},
       {"write_order", json_strings(set.text->write_order)},
       {"drivable_between", json(set.text->drivable_between)},
       {"members", json_array(set.members, [&](const auto& one) { return member_json(evidence, one); })}});
}

std::string sets_text(const VehicleEvidence& evidence) {
  if (!evidence.job) return "\nSETS\n\nvehicle.json says nothing, so they are not told here.\n";
  std::string text;
  for (const JobSet& set : sets_of(*evidence.job)) {
    text += "\n" + filled(set_name(set) + ". To be written: " + order_words(set) + ".");
    for (const JobSet::Member& member : set.members) {
      const JobRevision* const here = member.here ? member.here->revision : nullptr;
      text += "  " + member.named->controller +
              (here == nullptr ? ", sequence " + std::to_string(member.named->sequence) + ", not here"
                               : " revision " + std::to_string(here->number()) + ", identity " +
                                     digest_text(here->digest)) +
              "\n";
    }
  }
  return "\nSETS\n" + (text.empty() ? "\nNone.\n" : text);
}

}  // namespace

namespace {

std::string parcel_faults(const VehicleEvidence& evidence) {
  std::string text;
  for (const ParcelEvidence& one : evidence.parcels) {
    if (one.fault)
      text += "- " + std::string(code(one.fault->reason)) + "  " + printable(one.file, 1000) + "\n  " +
              printable(one.fault->found, 400) + "\n";
  }
  return text;
}

JsonValue parcel_json(const ParcelEvidence& one) {
  return json_object({{"file", json(printable(one.file, 16384))},
                      {"digest", json_digest(one.digest)},
                      {"key_fingerprint", json(one.parcel ? parcel_fingerprint(*one.parcel) : "")},
                      {"order", json_strings(one.parcel ? one.parcel->order : std::vector<std::string>())},
                      {"noted", json(one.noted)},
                      {"reason", json(one.fault ? code(one.fault->reason) : std::string_view())}});
}

}  // namespace

std::string evidence_readme(const VehicleEvidence& evidence) {
  const Statements said = statements_of(evidence);
  std::string text =
      "Evidence: " + vehicle_title(evidence) + "\n\n" +
      filled(
          "Everything that a shop has kept about one vehicle, with what can be proved about it from bytes, "
          "what is only said and by whom, and what nobody can know from it. There is no opinion here on "
          "any cause.") +
      "\ncontrollers/    one folder for each controller, evidence by itself: begin with its README.txt\n"
      "job/            the rest of the vehicle's folder as it is: vehicle.json, hand-overs\n"
      "evidence.html   this text for reading and print; evidence.json for programs\n"
      "VERIFY.txt      how to verify it all without calseal, command by command\n"
      "SHA256SUMS      the digest of every other file\n"
      "by-hand/        a short program that VERIFY.txt uses\n\n" +
      filled(
          "CAUTION. This folder is for looking, not for writing into a vehicle. Files in it may be "
          "withdrawn, damaged or meant for another vehicle. Reads and revisions 0 may hold the VIN and "
          "what a vehicle has learned; notes may name people. Hand it on only to whom the law lets you.") +
      "\nCONTROLLERS\n\n";
  for (const ControllerEvidence& one : evidence.controllers)
    text += "- " + printable(one.folder, 1000) + ": " + bundle_words(one.evidence) +
            finding_words(one.evidence.findings.size()) + "\n";
  text += sets_text(evidence) + "\nPROVED\n\n" + statement_list(said.proved) + "\nASSERTED\n\n" +
          statement_list(said.asserted) + "\nUNKNOWN\n\n" + statement_list(said.unknown);
  std::string findings = finding_list(evidence.findings) + parcel_faults(evidence);
  if (evidence.job) {
    for (const JobFinding& finding : evidence.job->findings)
      findings += "- " + finding.code + "  " + printable(finding.file, 1000) + "\n  " +
                  printable(finding.text, 400) + "\n";
  }
  if (!findings.empty()) text += "\nWHAT IS NOT AS IT SHOULD BE\n\n" + findings;
  if (evidence.left_out.empty()) return text;
  text += "\nLEFT OUT\n\n";
  for (const std::string& path : evidence.left_out) text += "- " + printable(path, 1000) + "\n";
  return text;
}

JsonValue evidence_json(const VehicleEvidence& evidence) {
  const Statements said = statements_of(evidence);
  const std::vector<JobSet> sets = evidence.job ? sets_of(*evidence.job) : std::vector<JobSet>();
  JsonValue findings = findings_json(evidence.findings);
  if (evidence.job) {
    for (const JobFinding& finding : evidence.job->findings)
      findings.items.push_back(json_object(
          {{"code", json(finding.code)}, {"file", json(finding.file)}, {"text", json(finding.text)}}));
  }
  return json_object(
      {{"calseal", json("evidence-vehicle/1")},
       {"job", json(evidence.job ? evidence.job->facts.job : "")},
       {"vehicle_reference", json(evidence.job ? evidence.job->facts.vehicle_reference : "")},
       {"controllers", json_array(evidence.controllers,
                                  [](const ControllerEvidence& one) {
                                    return json_object({{"folder", json(printable(one.folder, 16384))},
                                                        {"evidence", evidence_json(one.evidence)}});
                                  })},
       {"sets", json_array(sets, [&](const JobSet& set) { return set_json(evidence, set); })},
       {"handed", json_array(evidence.handed,
                             [](const HandedFile& one) {
                               return json_object({{"file", json(printable(one.file, 16384))},
                                                   {"kept_as", json(printable(one.kept_as, 16384))}});
                             })},
       {"parcels", json_array(evidence.parcels, parcel_json)},
       {"with_salt", json(!evidence.salt_left_out)},
       {"findings", std::move(findings)},
       {"left_out", json_strings(evidence.left_out)},
       {"proved", statements_json(said.proved)},
       {"asserted", statements_json(said.asserted)},
       {"unknown", statements_json(said.unknown)}});
}

std::string evidence_text(const VehicleEvidence& evidence, const Page& page) {
  std::string text = "Evidence about " + printable(vehicle_title(evidence), 400) + "\n\n";
  for (const ControllerEvidence& one : evidence.controllers) {
    text += labelled(
        page, printable(one.folder.substr(one.folder.find('/') + 1), 80),
        bundle_words(one.evidence) +
            (one.evidence.ledger ? "; " + counted(one.evidence.ledger->entries.size(), "entry", "entries") +
                                       " of the ledger about this job"
                                 : "") +
            finding_words(one.evidence.findings.size()),
        is_sound(one.evidence) ? Mark::kGood : Mark::kBad);
  }
  const std::vector<JobSet> sets = evidence.job ? sets_of(*evidence.job) : std::vector<JobSet>();
  text += labelled(page, "sets", counted(sets.size(), "set", "sets"));
  text += labelled(page, "hand-overs", counted(evidence.handed.size(), "bundle", "bundles"));
  for (const ParcelEvidence& one : evidence.parcels)
    text += labelled(page, "parcel",
                     printable(one.file, 1000) + (one.fault ? ": " + printable(one.fault->found, 400) : ""),
                     one.fault ? Mark::kBad : Mark::kPlain);
  text += labelled_findings(evidence.findings, page);
  if (evidence.job) {
    for (const JobFinding& finding : evidence.job->findings)
      text +=
          labelled(page, "finding",
                   finding.code + " " + printable(finding.file, 1000) + ": " + printable(finding.text, 400),
                   Mark::kBad);
  }
  for (const std::string& path : evidence.left_out)
    text += labelled(page, "left out", printable(path, 1000), Mark::kCaution);
  return text;
}

}  // namespace calseal
