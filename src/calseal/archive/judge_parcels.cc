#include <algorithm>
#include <map>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"
#include "calseal/job/layout.h"
#include "calseal/job/take_parcel.h"

namespace calseal {
namespace {

std::string parcel_subject(const Sha256& digest) { return "parcel " + digest_text(digest); }

// What stands in the folders of vehicles, against the notes of their controllers and against the ledger.
class Parcels {
 public:
  explicit Parcels(Judging& judging) : judging_(judging) {
    for (const FileFacts& facts : judging.record().files) {
      if (facts.kind == FileKind::kParcel) {
        (facts.fault ? damaged_ : kept_).insert(facts.digest.value_or(Sha256{}));
      } else if (facts.kind == FileKind::kJobEvents && facts.job) {
        note(facts);
      } else if (facts.ledger) {
        for (const LedgerParcel& parcel : facts.ledger->parcels) entered_.try_emplace(parcel.digest, &parcel);
      }
    }
  }

  void judge() {
    for (const auto& [path, digests] : noted_) judge_noted(path, digests);
    for (const auto& [digest, entry] : entered_) judge_entered(digest, *entry);
    for (const FileFacts& facts : judging_.record().files) judge_unknown(facts);
  }

 private:
  // Each controller of a vehicle notes all parcels, by their place in the vehicle's folder.
  void note(const FileFacts& events) {
    const std::string_view controller = folder_of(events.path);
    const std::string vehicle(folder_of(controller));
    // A controller's folder may be in an archive without that of its vehicle.
    const bool kept_here =
        !controller.empty() && judging_.record().find(join_path(vehicle, kVehicleFile)) != nullptr;
    for (const NamedDigest& parcel : events.job->parcels) {
      if (kept_here) noted_[join_path(vehicle, parcel.name)].insert(parcel.digest);
      said_.insert(parcel.digest);
    }
  }

  void judge_noted(const std::string& path, const std::set<Sha256>& digests) {
    const FileFacts* const there = judging_.record().find(path);
    const WantedFile wanted{WantedFile::By::kBytes, path, *digests.begin(), FileKind::kParcel, std::nullopt};
    if (there == nullptr) {
      if (!std::ranges::any_of(digests, [&](const Sha256& digest) { return kept_.contains(digest); }))
        missing(path, *digests.begin(), "named by the job's notes").wanted = wanted;
    } else if (there->fault) {
      judging_.want_at(path, wanted);
    } else if (there->digest && !digests.contains(*there->digest)) {
      judging_.find(FindingCode::kFileChanged, path, "", "the job's notes name it with another digest")
          .wanted = wanted;
    }
  }

  // Where the notes are lost too. A damaged parcel may be the one: that is said of its file.
  void judge_entered(const Sha256& digest, const LedgerParcel& entry) {
    if (said_.contains(digest) || kept_.contains(digest) || !damaged_.empty()) return;
    missing("", digest,
            "taken into job " + entry.job + ", by entry " + std::to_string(entry.index) + " of the ledger");
  }

  Finding& missing(const std::string& path, const Sha256& digest, const std::string& by) {
    return judging_.find(FindingCode::kParcelMissing, path, parcel_subject(digest),
                         by + ", and nowhere in the archive");
  }

  void judge_unknown(const FileFacts& facts) {
    if (facts.kind != FileKind::kParcel || facts.fault || !facts.digest) return;
    if (name_of(folder_of(facts.path)) != kParcelFolder) return;
    if (said_.contains(*facts.digest) || entered_.contains(*facts.digest) || judging_.any_at(facts.path))
      return;
    judging_.find(FindingCode::kParcelUnknown, facts.path, "", "no note and no entry names it");
  }

  Judging& judging_;
  std::set<Sha256> kept_, damaged_, said_;
  std::map<std::string, std::set<Sha256>> noted_;  // by path
  std::map<Sha256, const LedgerParcel*> entered_;
};

}  // namespace

void judge_parcels(Judging& judging) { Parcels(judging).judge(); }

}  // namespace calseal
