#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/evidence/statement_parts.h"
#include "calseal/report/evidence/vehicle_evidence_report.h"

namespace calseal {
namespace {

class VehicleStating {
 public:
  explicit VehicleStating(const VehicleEvidence& evidence) : evidence_(evidence) {}

  Statements run() {
    if (evidence_.job) {
      for (const JobSet& set : sets_of(*evidence_.job)) state_set(set);
    } else {
      said_.unknown.push_back({"Which vehicle this is, and which of its revisions are valid only together.",
                               "vehicle.json says nothing"});
    }
    for (const HandedFile& handed : evidence_.handed) state_handed(handed);
    for (const ParcelEvidence& parcel : evidence_.parcels) state_parcel(parcel);
    vehicle();
    return std::move(said_);
  }

 private:
  void state_set(const JobSet& set) {
    const std::string name = set_name(set);
    if (!set.whole()) {
      said_.unknown.push_back(
          {name + ": a member of it is not here, so nobody could have accepted it from this folder.",
           "the set's signed text names it"});
      return;
    }
    const bool judged = std::ranges::all_of(set.members, [&](const JobSet::Member& member) {
      return member.here->revision->verified && !evidence_.file_of(*member.here).empty();
    });
    if (!judged) {
      said_.unknown.push_back({name + ": the seal of a member does not hold.", "see that controller"});
      return;
    }
    said_.proved.push_back(
        {name +
             " is valid only as a whole: every member carries the same text, which names each of them. It "
             "is to be written in this order: " +
             order_words(set) + ".",
         "set.json in each bundle, under its signatures, SHA-256 " + digest_text(set.identity)});
  }

  void state_handed(const HandedFile& handed) {
    const std::string file = printable(handed.file, 1000);
    if (!handed.kept_as.empty()) {
      said_.proved.push_back(
          {file + " is, byte for byte, " + printable(handed.kept_as, 1000) + ".", "SHA-256 of both"});
    } else if (handed.sound) {
      said_.proved.push_back({file + " is whole under its signatures; no controller's folder has it.",
                              "signatures and digests"});
    } else {
      said_.unknown.push_back(
          {file + " does not hold. What it once said is not believed here.", "no sound bundle"});
    }
  }

  void state_parcel(const ParcelEvidence& one) {
    const std::string file = printable(one.file, 1000);
    if (!one.parcel) {
      said_.unknown.push_back(
          {file + " does not hold. What it once said is not believed here.", "no sound parcel"});
      return;
    }
    const std::string key = parcel_fingerprint(*one.parcel);
    said_.proved.push_back(
        {file + " is whole, and all of it came together from the holder of the key " + key + ".",
         "its signature and digests"});
    for (const auto& [entry, kept] : one.kept)
      said_.proved.push_back(
          {entry + " in " + file + " is, byte for byte, " + printable(kept, 1000) + ".", "SHA-256 of both"});
    state_entries(one, file);
    say_words(*one.parcel, file, "the holder of the key " + key + ", under his signature");
    said_.asserted.push_back(
        {"That key is the customer's.", "whoever heard its fingerprint from him by voice"});
    if (!one.noted)
      said_.unknown.push_back(
          {"When " + file + " came, and whether it was taken into this job.", "no note of the job names it"});
  }

  // Each controller's evidence has the entry among its own.
  void state_entries(const ParcelEvidence& one, const std::string& file) {
    for (const ControllerEvidence& controller : evidence_.controllers) {
      if (!controller.evidence.ledger) continue;
      for (const EvidenceEntry& entry : controller.evidence.ledger->entries) {
        if (entry.facts.kind != EntryKind::kParcelTaken || entry.facts.about != one.digest) continue;
        said_.proved.push_back({"Entry " + std::to_string(entry.index) + " of the ledger names " + file +
                                    " by its SHA-256, as taken into the job.",
                                controller.folder + "/ledger/this-job.jsonl, bound to the entry by HMAC"});
      }
    }
  }

  void say_words(const Parcel& parcel, const std::string& file, const std::string& who) {
    const auto say = [&](const std::string& words) { said_.asserted.push_back({file + ": " + words, who}); };
    std::string order;
    for (const std::string& option : parcel.order) order += (order.empty() ? "" : ", ") + printable(option);
    if (!order.empty()) say("he orders " + order + ".");
    for (const ParcelAnswer& answer : parcel.answers)
      say("to the question " + printable(answer.question) + " he answers \"" + printable(answer.answer, 400) +
          "\".");
    if (!parcel.accepted.empty())
      say("he accepted " + counted(parcel.accepted.size(), "caution", "cautions") + ", word for word in it.");
    if (!parcel.words.empty()) say("he writes \"" + printable(parcel.words, 1000) + "\".");
  }

  void vehicle() {
    said_.asserted.push_back({"These controllers are of one vehicle" +
                                  (evidence_.job && !evidence_.job->facts.vehicle_reference.empty()
                                       ? ", \"" + printable(evidence_.job->facts.vehicle_reference) + "\"."
                                       : std::string(".")),
                              "the shop: vehicle.json, and the job's name in the signed manifests"});
    if (evidence_.handed.empty()) return;
    said_.asserted.push_back({"The bundles of each hand-over went out together, with its message.txt.",
                              "the shop's folders, which nobody signed"});
    said_.unknown.push_back({"Whether a hand-over reached anybody, beyond what notes and receipts say.",
                             "a folder does not show what was sent"});
  }

  const VehicleEvidence& evidence_;
  Statements said_;
};

}  // namespace

std::string set_name(const JobSet& set) {
  std::string name;
  for (const JobSet::Member& member : set.members) {
    name += (name.empty() ? "The set of " : ", ") + member.named->controller;
    name += member.here ? " revision " + std::to_string(member.here->revision->number())
                        : " sequence " + std::to_string(member.named->sequence);
  }
  return name;
}

std::string order_words(const JobSet& set) {
  std::string words;
  for (const std::string& controller : set.text->write_order)
    words += (words.empty() ? "" : ", then ") + controller;
  return words + (set.text->drivable_between ? "; the vehicle may be driven in between"
                                             : "; the vehicle must not be driven in between");
}

Statements statements_of(const VehicleEvidence& evidence) { return VehicleStating(evidence).run(); }

}  // namespace calseal
