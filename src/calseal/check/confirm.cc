#include "calseal/check/confirm.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/check/cautions.h"
#include "calseal/check/check.h"
#include "calseal/check/claims.h"
#include "calseal/check/match.h"
#include "calseal/check/near_miss.h"
#include "calseal/check/payload.h"
#include "calseal/check/scan.h"
#include "calseal/map/identity.h"
#include "calseal/map/verify.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

constexpr std::size_t kLeastErased =
    64;  // bytes of one value that count as erased where no sector is declared

// What a span that is not as it should be most likely is.
enum class Cause : std::uint8_t { kOld, kErased, kOther };

class Comparing {
 public:
  Comparing(const OpenedBundle& opened, Read after, std::optional<Read> before,
            const std::optional<Bytes>& salt, Confirmation& out)
      : opened_(opened),
        map_(opened.map),
        claims_(opened.manifest.controller()),
        salt_(salt),
        out_(out),
        image_(std::move(after.image)) {
    if (before) before_ = std::move(before->image);
  }

  Status run() {
    out_.read_compared = true;
    CALSEAL_CHECK(require_complete());
    CALSEAL_CHECK(lay_target());
    CALSEAL_CHECK(compare_spans());
    CALSEAL_CHECK(judge_software());
    CALSEAL_CHECK(judge_vehicle());
    count_arrivals();
    CALSEAL_CHECK(differing_.empty() ? judge_floating() : judge_difference());
    out_.grade = ProofGrade::kBytes;
    return {};
  }

 private:
  struct Differing {
    const ManifestSpan* span;
    Cause cause;
  };

  std::size_t index_of(const NamedRange& place) const { return map_.memory_index(place.memory); }
  ByteView bytes_in(const Image& image, const NamedRange& place) const {
    return image.memories[index_of(place)].view(place.range);
  }

  Status require_complete() const {
    const Status complete = match_complete(opened_, image_, salt_.has_value());
    if (complete) return {};
    return fail(explain_incomplete(opened_, image_, *first_missing(opened_, image_, salt_.has_value())));
  }

  Status require_base(const Image& read) const {
    ImageDigests digests(read);
    Status fits = match_complete(opened_, read);
    if (fits) fits = match_locked(opened_, read, digests);
    if (fits) fits = match_patches(opened_, read);
    if (fits) return {};
    return fail(explain_misfit(fits.error(), opened_, read, salt_));
  }

  // The bytes that should be there: the payload's, for pinned spans; what it does not carry is as read.
  Status lay_target() {
    pinned_.resize(map_.memories.size());
    carried_.resize(map_.memories.size());
    for (const ManifestSpan& span : claims_.spans) {
      if (span.after) pinned_[index_of(span.place)].add(span.place.range);
    }
    target_ = image_;
    lay_payload(opened_, target_, &pinned_);
    for (const PayloadPart& part : claims_.payload) {
      const std::size_t memory = map_.memory_index(part.memory);
      for (const Range& range : part.ranges) carried_[memory].add(pinned_[memory].within(range));
    }
    const auto found = ImageDigests(target_).of_spans(
        claims_.spans, [&](const ManifestSpan& span) { return span.after && carries(span.place); });
    for (std::size_t i = 0; i < found.size(); ++i) {
      const ManifestSpan& span = claims_.spans[i];
      if (!found[i] || found[i] == span.after) continue;
      return claim_fault(opened_.name,
                         "controllers/0/payload, " + span.place.memory + " " + range_text(span.place.range),
                         "bytes that are not those of the span", "SHA-256 " + digest_text(*span.after));
    }
    return lay_before();
  }

  bool carries(const NamedRange& place) const { return carried_[index_of(place)].contains(place.range); }

  // Locked bytes of the read from before are those of the revision too.
  Status lay_before() {
    if (!before_) return {};
    Status fits = require_base(*before_);
    if (!fits) {
      fits.error().next = "give the read of this controller from before the write, or leave it out";
      return fits;
    }
    Image laid = *before_;
    lay_payload(opened_, laid, &pinned_);
    const auto found = ImageDigests(laid).of_spans(
        claims_.spans, [&](const ManifestSpan& span) { return span.after && !carries(span.place); });
    for (std::size_t i = 0; i < found.size(); ++i) {
      const ManifestSpan& span = claims_.spans[i];
      if (!found[i] || found[i] != span.after) continue;
      std::ranges::copy(bytes_in(laid, span.place),
                        target_.memories[index_of(span.place)].span(span.place.range).begin());
      carried_[index_of(span.place)].add(span.place.range);
    }
    return {};
  }

  Status compare_spans() {
    find_erased_sectors();
    const auto digests = ImageDigests(image_).of_spans(
        claims_.spans, [](const ManifestSpan& span) { return span.after.has_value(); });
    for (std::size_t i = 0; i < digests.size(); ++i) {
      const ManifestSpan& span = claims_.spans[i];
      if (!digests[i]) continue;
      out_.bytes_compared += span.place.range.size();
      if (digests[i] == span.after) continue;
      const ByteView found = bytes_in(image_, span.place);
      differing_.push_back({&span, cause_of(span, *digests[i])});
      if (!carries(span.place)) {
        out_.bytes_differing += span.place.range.size();
        note_first(span, span.place.range, false);
        continue;
      }
      const DifferenceSum sum = sum_differences(found, bytes_in(target_, span.place));
      out_.bytes_differing += sum.bytes;
      note_first(span, {span.place.range.begin + sum.first.begin, span.place.range.begin + sum.first.end},
                 true);
    }
    return {};
  }

  void note_first(const ManifestSpan& span, Range range, bool exact) {
    if (out_.first) return;
    Difference first;
    first.place = {span.place.memory, range};
    first.region = region_at(map_, index_of(span.place), range.begin);
    first.kind = span.kind;
    first.exact = exact;
    if (exact) {
      first.found = hex_excerpt(bytes_in(image_, first.place));
      first.expected = hex_excerpt(bytes_in(target_, first.place));
    }
    out_.first = std::move(first);
  }

  // A sector of which every known byte has the fill value.
  void find_erased_sectors() {
    erased_.resize(map_.memories.size());
    for (const Place& sector : map_.sectors) {
      const Memory& memory = image_.memories[sector.memory];
      const RangeSet known = memory.known.within(sector.range);
      const std::uint8_t fill = map_.memories[sector.memory].fill;
      const bool blank = std::ranges::all_of(known.ranges(), [&](const Range& range) {
        return std::ranges::all_of(memory.view(range), [=](std::uint8_t b) { return b == fill; });
      });
      if (blank && !known.empty()) erased_[sector.memory].add(sector.range);
    }
  }

  bool is_erased(const ManifestSpan& span) const {
    const std::size_t memory = index_of(span.place);
    if (map_.sectors.empty()) {
      const ByteView found = bytes_in(image_, span.place);
      const std::uint8_t fill = map_.memories[memory].fill;
      return found.size() >= kLeastErased &&
             std::ranges::all_of(found, [=](std::uint8_t b) { return b == fill; });
    }
    RangeSet standing(span.place.range);
    standing.remove(erased_[memory].within(span.place.range));
    return std::ranges::all_of(standing.ranges(), [&](const Range& range) {
      return carries(span.place) && std::ranges::equal(bytes_in(image_, {span.place.memory, range}),
                                                       bytes_in(target_, {span.place.memory, range}));
    });
  }

  Cause cause_of(const ManifestSpan& span, const Sha256& digest) const {
    if (is_erased(span)) return Cause::kErased;
    if (!before_) {
      return digest == *span.before ? Cause::kOld : Cause::kOther;
    }
    // Byte by byte: each is as it was, or as it should be.
    const ByteView found = bytes_in(image_, span.place);
    const ByteView old = bytes_in(*before_, span.place);
    const ByteView right = bytes_in(target_, span.place);
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (found[i] != right[i] && found[i] != old[i]) return Cause::kOther;
    }
    return carries(span.place) ? Cause::kOld : Cause::kOther;
  }

  // Locked bytes differ although nothing was erased: is this the controller at all?
  Status judge_software() const {
    const bool foreign = std::ranges::any_of(differing_, [](const Differing& d) {
      return d.span->kind == SpanKind::kLocked && d.cause == Cause::kOther;
    });
    if (!foreign || same_software()) return {};
    return fail(explain_foreign(opened_, image_));
  }

  bool same_software() const {
    return recognise_family(map_, image_).has_value() && has_same_identity(opened_, image_);
  }

  Status judge_vehicle() {
    const bool sealed =
        std::ranges::any_of(claims_.binding, [](const auto& b) { return b.digest.has_value(); });
    if (!salt_ || !sealed) {
      out_.cautions.push_back({"vehicle-not-compared",
                               sealed ? "without the job's salt nothing proves that this is the job's vehicle"
                                      : "no binding field proves that this is the job's vehicle"});
      return {};
    }
    MatchEvidence evidence;
    evidence.salt = salt_;
    evidence.vehicle_reference = opened_.manifest.vehicle_reference;
    const Result<VehicleProof> vehicle = match_vehicle(opened_, image_, evidence);
    if (!vehicle) return fail(explain_misfit(vehicle.error(), opened_, image_, salt_));
    out_.vehicle = *vehicle;
    return {};
  }

  // How much of what the revision changes has arrived: against the read from before, or else the base.
  void count_arrivals() {
    const auto count = [&](const NamedRange& place) {
      const std::size_t memory = index_of(place);
      const ByteView found = bytes_in(image_, place);
      const ByteView right = bytes_in(target_, place);
      const ByteView old = before_ ? bytes_in(*before_, place) : ByteView();
      for (std::size_t i = 0; i < found.size(); ++i) {
        if (before_ && old[i] == right[i]) continue;
        ++out_.bytes_changed;
        const Place at{memory, {place.range.begin + i, place.range.begin + i + 1}};
        if (found[i] == right[i]) {
          ++out_.bytes_arrived;
          last_arrived_ = at;
        } else if (!first_missing_) {
          first_missing_ = at;
        }
      }
    };
    if (before_) {
      for (const ManifestSpan& span : claims_.spans) {
        if (span.after && carries(span.place)) count(span.place);
      }
      return;
    }
    for (const Change& change : opened_.changes) {
      // The list is the shop's claim: what lies outside of the carried bytes says nothing here.
      const std::size_t memory = map_.memory_index(change.place.memory);
      if (memory == map_.memories.size()) continue;
      for (const Range& range : carried_[memory].within(change.place.range).ranges())
        count({change.place.memory, range});
    }
  }

  Result<Plan> plan_of_image() {
    // What the base did not know is nobody's business.
    for (std::size_t m = 0; m < image_.memories.size(); ++m) {
      RangeSet known;
      for (const Range& range : claims_.memories[m].known) known.add(range);
      image_.memories[m].known = image_.memories[m].known.intersect(known);
    }
    return make_plan(map_, image_);
  }

  // All pinned bytes are right; what depends on learned values must hold in itself.
  Status judge_floating() {
    CALSEAL_ASSIGN(const Plan plan, plan_of_image());
    for (const CheckOutcome& outcome : verify_checks(plan, image_)) {
      if (outcome.state != CheckState::kFails) continue;
      Status status = require_holding(plan, {outcome});
      if (outcome.floating) {
        status.error().next =
            "every byte of the revision is there, but this checksum over learned values does not hold: it "
            "was read while running, or the writer put back old values; leave the ignition off for some "
            "minutes, "
            "read back again, and do not drive until it holds";
      }
      return status;
    }
    return {};
  }

  std::string first_text() const {
    const Difference& first = *out_.first;
    return first.place.memory + " " + range_text(first.place.range) +
           (first.region.empty() ? "" : " in region " + first.region);
  }

  Error error(Reason reason, std::string found, std::string expected, std::string next) const {
    return {reason, "", first_text(), std::move(found), std::move(expected), std::move(next)};
  }

  std::string revision_text() const {
    return "revision " + std::to_string(opened_.manifest.revision) + " of job " + opened_.manifest.job;
  }

  Status judge_difference() {
    std::size_t erased = 0;
    std::size_t derived = 0;           // differing derived spans
    const Differing* other = nullptr;  // neither old nor erased; derived ones only when there is no other
    for (const Differing& d : differing_) {
      erased += d.cause == Cause::kErased ? 1U : 0U;
      const bool is_derived = d.span->kind == SpanKind::kDerived;
      derived += is_derived ? 1U : 0U;
      if (d.cause != Cause::kOther) continue;
      if (other == nullptr || (other->span->kind == SpanKind::kDerived && !is_derived)) other = &d;
    }
    if (other != nullptr) return derived == differing_.size() ? judge_recorrected() : judge_other(*other);
    if (erased == 0 && out_.bytes_arrived == 0) {
      return fail(
          error(Reason::kConfirmOld,
                "everything as " + before_text() + ": none of " + bytes_text(out_.bytes_changed) +
                    " that change has been written",
                revision_text(),
                "nothing was written: look at what the writer said, check that it wrote the image that "
                "calseal rebuilt, write again, and read back again"));
    }
    return judge_partial(derived == differing_.size(), erased);
  }

  std::string before_text() const { return before_ ? "in the read from before" : "in the base"; }

  Status judge_partial(bool only_derived, std::size_t erased) {
    std::string found =
        grouped(out_.bytes_arrived) + " of " + bytes_text(out_.bytes_changed) + " that change are written";
    if (erased != 0) {
      found +=
          "; " + std::to_string(erased) + (erased == 1 ? " span is" : " spans are") + " erased and empty";
    }
    if (only_derived) found += "; only the checksums are still those from before";
    if (first_missing_) found += "; " + boundary_text();
    return fail(
        error(Reason::kConfirmPartial, std::move(found), "all of " + revision_text(),
              "do not start the engine and do not drive: leave the controller powered, write the same image "
              "again, and read back again; if it cannot be written, write revision 0; ask the shop"));
  }

  // A write that stopped leaves everything before one address written and nothing behind it.
  std::string boundary_text() const {
    const Place& missing = *first_missing_;
    const std::string at = map_.memories[missing.memory].name + " " + address_text(missing.range.begin);
    std::string sector;
    for (const Place& s : map_.sectors) {
      if (s.memory == missing.memory && s.range.overlaps(missing.range))
        sector = ", in erase sector " + range_text(s.range);
    }
    if (last_arrived_ && *last_arrived_ < missing)
      return "everything before " + at + sector +
             " is written and nothing from there on: the write stopped there";
    return "the first that is not stands at " + at + sector;
  }

  Status judge_recorrected() {
    std::string places;
    std::size_t listed = 0;
    for (const Differing& d : differing_) {
      if (listed++ == 5) {
        places += " and " + std::to_string(differing_.size() - 5) + " more";
        break;
      }
      places += (places.empty() ? "" : ", ") + d.span->place.memory + " " + range_text(d.span->place.range);
    }
    std::string failing;
    std::size_t failed = 0;
    if (const Result<Plan> plan = plan_of_image(); plan) {
      for (const CheckOutcome& outcome : verify_checks(*plan, image_)) {
        if (outcome.state != CheckState::kFails) continue;
        ++failed;
        if (failed <= 5)
          failing += (failing.empty() ? "" : "; ") + outcome.name + (outcome.detail.empty() ? "" : ": ") +
                     outcome.detail;
      }
    }
    std::string found = "the calibration as sealed, but other checksum bytes at " + places + "; ";
    found += failed == 0 ? "the region map's checks hold with them, so the writer has found another solution"
                         : "by the region map they do not hold (" + failing +
                               "), so the writer corrects by other rules";
    return fail(
        error(Reason::kConfirmRecorrected, std::move(found), "the checksums of " + revision_text(),
              "the writer has corrected checksums that were already right: switch its correction off, write "
              "again, and read back again; do not drive before that, and tell the shop, for one of the two "
              "is wrong about this controller"));
  }

  Status judge_other(const Differing& other) {
    const ManifestSpan& span = *other.span;
    // The first difference of this kind is what the person needs, not one that is merely old.
    out_.first.reset();
    if (carries(span.place)) {
      const Range range = sum_differences(bytes_in(image_, span.place), bytes_in(target_, span.place)).first;
      note_first(span, {span.place.range.begin + range.begin, span.place.range.begin + range.end}, true);
    } else {
      note_first(span, span.place.range, false);
    }
    std::string found =
        out_.first->exact ? out_.first->found : "other " + std::string(span_kind_name(span.kind)) + " bytes";
    found += "; " + bytes_text(out_.bytes_differing) +
             (out_.first->exact ? " differ" : " in spans that differ") + ", " + grouped(out_.bytes_arrived) +
             " of " + bytes_text(out_.bytes_changed) + " that change are as they should be";
    if (span.kind == SpanKind::kLocked) {
      found += "; locked bytes, which no revision changes";
    } else if (calibration_of(claims_, image_) == Calibration::kOther) {
      found += "; the calibration is neither that of the base nor of this revision";
    }
    std::string next =
        "do not drive: another file or another revision was written, or bytes were damaged on the way; check "
        "which image the writer took, write again, and read back again";
    if (!before_ && span.kind == SpanKind::kEditable)
      next +=
          "; with --before, the read from before the write, it can be told whether this is what was there "
          "before";
    return fail(error(Reason::kConfirmDiffers, std::move(found),
                      out_.first->exact ? out_.first->expected : "SHA-256 " + digest_text(*span.after),
                      std::move(next)));
  }

  const OpenedBundle& opened_;
  const RegionMap& map_;
  const ManifestController& claims_;
  const std::optional<Bytes>& salt_;
  Confirmation& out_;
  Image image_;                   // what was read back
  std::optional<Image> before_;   // what was there before
  Image target_;                  // what should be there, where `carried_`
  std::vector<RangeSet> pinned_;  // one per memory, as the next two
  std::vector<RangeSet> carried_;
  std::vector<RangeSet> erased_;  // sectors
  std::vector<Differing> differing_;
  std::optional<Place> first_missing_;
  std::optional<Place> last_arrived_;
};

ProofGrade grade_of(const std::vector<ComparedValue>& scan, bool is_base) {
  ProofGrade grade = ProofGrade::kNone;
  for (const ComparedValue& value : scan) {
    if (value.state != ScanState::kEqual) continue;
    const bool number = value.kind == identity_kind_name(IdentityKind::kVerificationNumber);
    // A number that base and revision share says nothing about which of them is there.
    grade = std::max(grade, number && (value.tells_apart || is_base) ? ProofGrade::kVerificationNumber
                                                                     : ProofGrade::kIdentity);
  }
  return grade;
}

Result<Read> load(const OpenedBundle& opened, std::vector<ReadFile> files) {
  const std::vector<FileShape> shapes = shapes_of(files);
  Result<Read> read = load_held_read(opened.map, std::move(files));
  if (!read) return fail(explain_unloadable(read.error(), opened, shapes));
  return read;
}

Status open_and_confirm(ConfirmRequest& request, Confirmation& out) {
  CALSEAL_ASSIGN(const TrustChain chain, parse_trust_chain({request.trust_name, std::move(request.trust)},
                                                           request.successions, request.stated_root));
  out.shop = chain.trust.shop;
  out.root_fingerprint = spoken_code(Spoken::kKey, compute_key_id(chain.trust.root));
  std::optional<InclusionProof> inclusion;
  if (request.inclusion) {
    CALSEAL_ASSIGN(inclusion, parse_inclusion(request.inclusion->bytes, request.inclusion->name));
  }
  OpenContext context;
  context.trust = &chain.trust;
  context.inclusion = inclusion ? &*inclusion : nullptr;
  std::vector<Step> steps = all_steps();
  CALSEAL_ASSIGN(const OpenedBundle opened,
                 open_sealed(std::move(request.bundle), request.bundle_name, context, steps));
  out.manifest = opened.manifest;
  out.manifest_digest = opened.digest;
  out.signers = opened.signers;
  if (request.stated_root.empty()) out.cautions.push_back(root_not_confirmed(out.root_fingerprint));
  if (!opened.map.evidence.verified) out.cautions.push_back(map_is_draft(opened.map));
  return confirm(opened, std::move(request.evidence), out);
}

}  // namespace

Status confirm(const OpenedBundle& opened, ConfirmEvidence evidence, Confirmation& confirmation) {
  if (evidence.after.empty() && !evidence.before.empty()) {
    return fail({Reason::kUsage, "", "--before", "a read from before the write, and none from after it",
                 "both, or only the one from after", "give what was read back with --read"});
  }
  CALSEAL_CHECK(check_scan_names(opened, evidence.scan));
  if (!evidence.after.empty()) {
    CALSEAL_ASSIGN(Read after, load(opened, std::move(evidence.after)));
    std::optional<Read> before;
    if (!evidence.before.empty()) {
      CALSEAL_ASSIGN(before, load(opened, std::move(evidence.before)));
    }
    CALSEAL_CHECK(Comparing(opened, std::move(after), std::move(before), evidence.salt, confirmation).run());
  }
  CALSEAL_CHECK(compare_scan(opened, evidence.scan, evidence.salt, confirmation.scan));
  confirmation.grade =
      std::max(confirmation.grade, grade_of(confirmation.scan, opened.manifest.revision == 0));
  if (confirmation.grade == ProofGrade::kIdentity && opened.manifest.revision != 0 &&
      std::ranges::none_of(confirmation.scan, [](const ComparedValue& v) {
        return v.tells_apart && v.state == ScanState::kEqual;
      })) {
    confirmation.cautions.push_back({"same-before-and-after",
                                     "every value compared is the same before and after this revision: they "
                                     "tell the controller, not whether it was written"});
  }
  return {};
}

Confirmation confirm_bundle(ConfirmRequest request) {
  Confirmation confirmation;
  const std::string name = request.bundle_name;
  if (Status status = open_and_confirm(request, confirmation); !status) {
    confirmation.reason = in_file(std::move(status.error()), name);
    confirmation.grade = ProofGrade::kNone;
  }
  return confirmation;
}

}  // namespace calseal
