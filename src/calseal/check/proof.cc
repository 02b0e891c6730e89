#include "calseal/check/proof.h"

#include <algorithm>
#include <span>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/change/confine.h"
#include "calseal/check/claims.h"
#include "calseal/check/payload.h"
#include "calseal/digest/sha256_many.h"
#include "calseal/map/correct.h"
#include "calseal/map/identity.h"

namespace calseal {
namespace {

tl::unexpected<Error> field_fault(const std::string& field, std::string found, std::string expected) {
  return claim_fault("", "controllers/0/" + field, std::move(found), std::move(expected));
}

std::string digest_words(const std::optional<Sha256>& digest, const std::string& otherwise) {
  return digest ? "SHA-256 " + digest_text(*digest) : otherwise;
}

// One function for each step of docs/proof.md, by its name and in its order.
class Proving {
 public:
  Proving(const OpenedBundle& opened, Image& read, const MatchEvidence& evidence, ReadOrigin origin,
          ImageDigests& digests, Verdict& verdict)
      : opened_(opened),
        claims_(opened.manifest.controller()),
        map_(opened.map),
        read_(read),
        evidence_(evidence),
        origin_(origin),
        digests_(digests),
        verdict_(verdict) {}
  Proving(const Proving&) = delete;
  Proving& operator=(const Proving&) = delete;
  ~Proving() {
    for (std::size_t m = 0; m < read_known_.size(); ++m) read_.memories[m].known = std::move(read_known_[m]);
  }

  Result<Image> run() {
    CALSEAL_CHECK(noted(verdict_.steps, "match", match()));
    CALSEAL_CHECK(noted(verdict_.steps, "claims", compare_claims()));
    CALSEAL_CHECK(noted(verdict_.steps, "freshness", judge_freshness()));
    CALSEAL_CHECK(noted(verdict_.steps, "rebuild", rebuild()));
    CALSEAL_CHECK(noted(verdict_.steps, "confinement", confine()));
    CALSEAL_CHECK(noted(verdict_.steps, "checksums", judge_checksums()));
    if (origin_ != ReadOrigin::kArchive) note_failing_checks();
    return std::move(result_);
  }

 private:
  // --- match

  Status match() {
    CALSEAL_CHECK(match_complete(opened_, read_));
    CALSEAL_CHECK(match_locked(opened_, read_, digests_));
    CALSEAL_CHECK(match_patches(opened_, read_));
    CALSEAL_CHECK(match_family(opened_, read_));
    if (origin_ == ReadOrigin::kArchive && !evidence_.salt) return {};
    CALSEAL_ASSIGN(verdict_.vehicle, match_vehicle(opened_, read_, evidence_));
    return {};
  }

  // --- claims

  Status compare_claims() {
    cut_read();
    CALSEAL_ASSIGN(plan_, make_plan(map_, read_));
    // What is described is the base; the read may know less of what belongs to the vehicle.
    Image shape = shape_of_base();
    CALSEAL_CHECK(compare_spans(shape));
    CALSEAL_CHECK(compare_write_ranges(shape));
    CALSEAL_CHECK(compare_payload(shape));
    CALSEAL_CHECK(compare_carried_locked_bytes());
    CALSEAL_CHECK(compare_before_of_locked_spans());
    verdict_.editable_share = editable_share(plan_, shape);
    return {};
  }

  // From here on the read knows only those bytes that the base knew. Its bytes stay where they are: a copy
  // would be a third image.
  void cut_read() {
    for (std::size_t m = 0; m < read_.memories.size(); ++m) {
      base_known_.push_back(RangeSet::of(claims_.memories[m].known));
      RangeSet& known = read_.memories[m].known;
      read_known_.push_back(std::exchange(known, known.intersect(base_known_[m])));
    }
  }

  // Memories without bytes: which of them are known is all that spans and ranges are made from.
  Image shape_of_base() const {
    Image shape;
    for (std::size_t m = 0; m < map_.memories.size(); ++m)
      shape.memories.push_back({map_.memories[m].name, map_.memories[m].extent, {}, base_known_[m]});
    return shape;
  }

  Status compare_spans(const Image& shape) const {
    const auto same = [](const ManifestSpan& a, const ManifestSpan& b) {
      return a.place == b.place && a.kind == b.kind;
    };
    if (std::ranges::equal(describe_spans(plan_, shape), claims_.spans, same)) return {};
    return field_fault("spans", "other spans than the region map cuts", "the spans of the region map");
  }

  Status compare_write_ranges(const Image& shape) const {
    if (describe_write_ranges(plan_, shape) == claims_.write_ranges) return {};
    return field_fault("write_ranges", "other ranges than the region map gives",
                       "editable, patch and derived places");
  }

  Status compare_payload(const Image& shape) const {
    if (describe_payload(plan_, shape, claims_.payload_kind, opened_.manifest.revision) == claims_.payload)
      return {};
    return field_fault("payload", "other ranges than the region map gives", "exactly the payload's areas");
  }

  // They are not laid down, but they must not lie.
  Status compare_carried_locked_bytes() const {
    if (claims_.payload_kind != PayloadKind::kFull) return {};
    std::vector<const ManifestSpan*> locked;
    std::vector<ByteView> carried;
    for (const ManifestSpan& span : claims_.spans) {
      if (span.kind != SpanKind::kLocked || !span.after) continue;
      locked.push_back(&span);
      carried.push_back(carried_bytes(opened_, span.place));
    }
    const std::vector<Sha256> found = compute_sha256_of_each(carried);
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (found[i] == *locked[i]->after) continue;
      return field_fault("payload, " + locked[i]->place.memory + " " + range_text(locked[i]->place.range),
                         "locked bytes with SHA-256 " + digest_text(found[i]),
                         digest_text(*locked[i]->after) + " as the span says");
    }
    return {};
  }

  Status compare_before_of_locked_spans() {
    for (const ManifestSpan& span : claims_.spans) {
      if (span.kind != SpanKind::kLocked || !span.after) continue;
      const auto laid = with_patches(opened_, read_, span.place, PatchSide::kBase);
      // Without a patch the bytes are those of the result, which the read has.
      const Sha256 found = laid ? compute_sha256(*laid) : *span.after;
      if (found == *span.before) continue;
      return field_fault("spans, " + span.place.memory + " " + range_text(span.place.range) + ", before",
                         digest_text(*span.before), digest_text(found) + " with the patches of the base");
    }
    return {};
  }

  // --- freshness

  Status judge_freshness() const {
    const std::vector<RangeSet> written = plan_.write_ranges(read_);
    const std::vector<RangeSet> by_nodes = plan_.learned_places();
    std::vector<Place> sectors;
    for (const Place& sector : map_.sectors) {
      if (written[sector.memory].overlaps(sector.range)) sectors.push_back(sector);
    }
    for (const Place& sector : sectors) CALSEAL_CHECK(require_read(sector));
    if (evidence_.read_is_fresh) return {};
    std::vector<RangeSet> learned_bytes = by_nodes;
    for (std::size_t m = 0; m < learned_bytes.size(); ++m)
      learned_bytes[m].add(plan_.bytes_of(m, SpanKind::kVolatile));
    for (const Place& sector : sectors)
      CALSEAL_CHECK(require_nothing_learned(sector, learned_bytes[sector.memory]));
    for (std::size_t m = 0; m < written.size(); ++m) {
      const RangeSet learned = by_nodes[m].intersect(written[m]);
      if (learned.empty()) continue;
      return stale(place_text(map_, {m, learned.ranges().front()}),
                   "a checksum to be written that also covers volatile bytes");
    }
    return {};
  }

  // Erasing takes the whole sector, so what the vehicle keeps there must be in the read.
  Status require_read(const Place& sector) const {
    RangeSet missing = base_known_[sector.memory].within(sector.range);
    missing.remove(read_.memories[sector.memory].known.within(sector.range));
    if (missing.empty()) return {};
    return fail({Reason::kReadIncomplete, "", place_text(map_, {sector.memory, missing.ranges().front()}),
                 "bytes that the read does not hold, in an erase sector to be written",
                 "every byte of such a sector",
                 "read the controller again, with all the memories of the first read"});
  }

  Status require_nothing_learned(const Place& sector, const RangeSet& learned_bytes) const {
    const RangeSet learned = learned_bytes.within(sector.range);
    if (learned.empty()) return {};
    return stale("sector " + place_text(map_, sector),
                 "an erase sector to be written that also holds learned bytes at " +
                     range_text(learned.ranges().front()));
  }

  static Status stale(const std::string& place, const std::string& found) {
    return fail({Reason::kReadNotFresh, "", place, found, "a read that is declared fresh",
                 "read the controller now, do not drive in between, and declare the read fresh"});
  }

  // --- rebuild

  Status rebuild() {
    lay();
    CALSEAL_CHECK(correct(plan_, result_, CorrectionScope::kFloating));
    CALSEAL_CHECK(compare_pinned_spans());
    return compare_files();
  }

  // Whatever else a full payload carries, the vehicle keeps its own bytes.
  void lay() {
    result_ = read_;
    std::vector<RangeSet> writable(map_.memories.size());
    for (std::size_t m = 0; m < writable.size(); ++m) {
      writable[m] = plan_.bytes_of(m, SpanKind::kEditable);
      writable[m].add(plan_.bytes_of(m, SpanKind::kDerived));
    }
    std::vector<std::vector<Range>> patched(writable.size());
    for (const PermittedPatch& patch : map_.patches) patched[patch.place.memory].push_back(patch.place.range);
    for (std::size_t m = 0; m < writable.size(); ++m) writable[m].add(RangeSet::of(std::move(patched[m])));
    lay_payload(opened_, result_, &writable);
  }

  Status compare_pinned_spans() const {
    // Locked spans were matched in the read; with the patches laid they are as the manifest says.
    std::vector<ManifestSpan> found = claims_.spans;
    for (ManifestSpan& span : found) {
      const bool matched = span.kind == SpanKind::kLocked && !reached_by_patch(map_, span.place);
      if (!matched) span.after.reset();
    }
    digest_spans(found, result_, Side::kAfter);
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (found[i].after == claims_.spans[i].after) continue;
      return fail(
          {Reason::kResultMismatch, "", found[i].place.memory + " " + range_text(found[i].place.range),
           digest_words(found[i].after, "unknown bytes"), digest_words(claims_.spans[i].after, "no digest"),
           "do not write; get the bundle again, and read the controller again"});
    }
    return {};
  }

  // Of a later revision; those of revision 0 were compared with its payload.
  Status compare_files() const {
    if (opened_.manifest.revision == 0) return {};
    std::vector<ByteView> memories;
    for (std::size_t i = 0; i < claims_.files.size(); ++i) memories.push_back(result_.memories[i].bytes);
    const std::vector<Sha256> found = compute_sha256_of_each(memories);
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (found[i] == claims_.files[i].digest) continue;
      return field_fault("files/" + std::to_string(i), digest_text(claims_.files[i].digest),
                         digest_text(found[i]) + " as computed");
    }
    return {};
  }

  // --- confinement

  Status confine() {
    // Checksums of the result are judged by the next step, against what the manifest says of them.
    checks_ = verify_checks(plan_, result_);
    const Confined confined = calseal::confine(plan_, read_, result_, checks_);
    verdict_.bytes_to_change = confined.changed_bytes;
    if (confined.violation) return fail(*confined.violation);
    CALSEAL_CHECK(compare_patches(confined.patches_applied));
    return compare_changes();
  }

  Status compare_patches(const std::vector<bool>& applied) const {
    for (std::size_t i = 0; i < claims_.patches.size(); ++i) {
      if (claims_.patches[i].in_result == applied[i]) continue;
      return field_fault("patches/" + std::to_string(i),
                         claims_.patches[i].in_result ? "result: after" : "result: before",
                         "the other, as in the bytes");
    }
    return {};
  }

  // The list is relative to the base, so each span proves it where the read is as the base was. Spans and
  // changes stand in one order, and step 11 has found every change inside a span.
  Status compare_changes() const {
    const auto of_read = digests_.of_spans(
        claims_.spans, [](const ManifestSpan& span) { return span.after && span.before != span.after; });
    auto change = opened_.changes.begin();
    for (std::size_t i = 0; i < claims_.spans.size(); ++i) {
      const ManifestSpan& span = claims_.spans[i];
      const auto first = change;
      while (change != opened_.changes.end() && is_in(*change, span.place)) ++change;
      if (!of_read[i] || of_read[i] != span.before) continue;
      if (changes_are({first, change}, span.place, read_.find(span.place.memory)->view(span.place.range)))
        continue;
      return claim_fault(
          "", std::string(kChangesName) + ", " + span.place.memory + " " + range_text(span.place.range),
          "other ranges than those that change", "the ranges as in the bytes");
    }
    return {};
  }

  static bool is_in(const Change& change, const NamedRange& place) {
    return change.place.memory == place.memory && place.range.contains(change.place.range);
  }

  // Whether `listed` are the ranges of a span in which the result differs from `base`.
  bool changes_are(std::span<const Change> listed, const NamedRange& place, ByteView base) const {
    const ByteView result = result_.find(place.memory)->view(place.range);
    std::size_t at = 0;
    for (const Change& change : listed) {
      const Range run = next_difference(base, result, at);
      if (run.begin + place.range.begin != change.place.range.begin ||
          run.size() != change.place.range.size())
        return false;
      at = static_cast<std::size_t>(run.end);
    }
    return next_difference(base, result, at).empty();
  }

  // --- checksums

  Status judge_checksums() {
    if (checks_.size() != claims_.checksums.size()) {
      return field_fault("checksums", std::to_string(claims_.checksums.size()) + " checksums",
                         std::to_string(checks_.size()) + " as in the region map");
    }
    for (std::size_t i = 0; i < checks_.size(); ++i) CALSEAL_CHECK(judge_checksum(i));
    CALSEAL_CHECK(compare_identity());
    return match_family_of_result();
  }

  Status judge_checksum(std::size_t index) const {
    const CheckOutcome& found = checks_[index];
    const ManifestChecksum& said = claims_.checksums[index];
    if (found.state == CheckState::kFails && !came_failing(said)) return require_holding(plan_, {found});
    if (found.state == CheckState::kNotProvable && said.state == CheckState::kHolds) {
      return fail({Reason::kChecksumNotProvable, "", found.name, found.detail,
                   "a checksum that holds, as sealed",
                   "read the controller again, with all the memories of the first read"});
    }
    // What floats was corrected for this read, so it holds whatever came.
    const bool mended = came_failing(said) && found.floating && found.state == CheckState::kHolds;
    const std::string value = describe_check(found);
    if (said.name == found.name && (said.state == found.state || mended) && said.value == value) return {};
    return field_fault(
        "checksums/" + std::to_string(index),
        said.name + " " + std::string(check_state_name(said.state)) + " " + said.value,
        found.name + " " + std::string(check_state_name(found.state)) + " " + value + " as computed");
  }

  // The way back restores what was received, and what did not hold then does not have to hold now.
  bool came_failing(const ManifestChecksum& said) const {
    return opened_.manifest.revision == 0 && said.state == CheckState::kFails;
  }

  Status compare_identity() const {
    const std::vector<std::string> found = describe_identity(plan_, result_);
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (claims_.identity[i].text == found[i]) continue;
      return field_fault("identity/" + std::to_string(i),
                         "\"" + printable(claims_.identity[i].text, 64) + "\"",
                         "\"" + found[i] + "\" as in the result");
    }
    return {};
  }

  // With what the read knows beyond the base, which stays in the file as it came.
  Status match_family_of_result() {
    std::vector<RangeSet> known;
    for (std::size_t m = 0; m < result_.memories.size(); ++m)
      known.push_back(std::exchange(result_.memories[m].known, read_known_[m]));
    const Status status = match_family(opened_, result_);
    for (std::size_t m = 0; m < known.size(); ++m) result_.memories[m].known = std::move(known[m]);
    return status;
  }

  // --- cautions

  // What no change reaches holds in the read as it does in the result.
  void note_failing_checks() const {
    const std::vector<CheckOutcome> of_read = verify_from(result_, checks_, plan_, read_);
    const bool revives = origin_ == ReadOrigin::kWayBack;
    for (std::size_t i = 0; i < of_read.size(); ++i) {
      if (of_read[i].state != CheckState::kFails) continue;
      verdict_.cautions.push_back(
          {"read-checksum-fails", std::string(revives ? "in the first read, " : "in the read, ") +
                                      of_read[i].name + " does not hold (" + of_read[i].detail +
                                      "): it was read while running, half written, or edited" +
                                      (checks_[i].state == CheckState::kHolds ? "; the result holds" : "")});
    }
  }

  const OpenedBundle& opened_;
  const ManifestController& claims_;
  const RegionMap& map_;
  Image& read_;
  const MatchEvidence& evidence_;
  const ReadOrigin origin_;
  ImageDigests& digests_;
  Verdict& verdict_;
  std::vector<RangeSet> base_known_;  // one per memory
  std::vector<RangeSet> read_known_;  // what the read knows beside, until the proof ends
  Plan plan_;
  Image result_;
  std::vector<CheckOutcome> checks_;  // of the result
};

}  // namespace

Result<Image> prove(const OpenedBundle& opened, Image& read, const MatchEvidence& evidence, ReadOrigin origin,
                    Verdict& verdict, ImageDigests* digests) {
  ImageDigests own(read);
  return Proving(opened, read, evidence, origin, digests == nullptr ? own : *digests, verdict).run();
}

Status rebuild(const OpenedBundle& opened, Read& read, const MatchEvidence& evidence, Verdict& verdict) {
  CALSEAL_ASSIGN(Image result, prove(opened, read.image, evidence, ReadOrigin::kVehicle, verdict));
  // What the base did not know stays in the file as it came.
  for (std::size_t m = 0; m < result.memories.size(); ++m)
    result.memories[m].known = read.image.memories[m].known;
  CALSEAL_ASSIGN(std::vector<Bytes> files, render_read(opened.map, read, std::move(result)));
  for (std::size_t i = 0; i < files.size(); ++i)
    verdict.files.push_back({read.sources[i].memory, read.sources[i].name, std::move(files[i]), {}});
  digest_files(verdict.files);
  return {};
}

void digest_files(std::vector<RebuiltFile>& files) {
  std::vector<ByteView> bytes;
  for (const RebuiltFile& file : files) bytes.push_back(file.bytes);
  const std::vector<Sha256> digests = compute_sha256_of_each(bytes);
  for (std::size_t i = 0; i < files.size(); ++i) files[i].digest = digests[i];
}

BaseProof::BaseProof(RegionMap map, Image image)
    : base_(std::make_unique<Base>(std::move(map), std::move(image))) {}

Status BaseProof::prove(const OpenedBundle& opened, const std::optional<Bytes>& salt) {
  Verdict unused;
  const MatchEvidence evidence{true, salt, ""};
  CALSEAL_CHECK(
      calseal::prove(opened, base_->image, evidence, ReadOrigin::kArchive, unused, &base_->digests));
  return {};
}

}  // namespace calseal
