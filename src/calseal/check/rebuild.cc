#include <algorithm>
#include <memory>
#include <optional>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/check/base_memory.h"
#include "calseal/check/base_proof.h"
#include "calseal/check/check.h"
#include "calseal/check/claims.h"
#include "calseal/check/match.h"
#include "calseal/digest/digest_ahead.h"
#include "calseal/map/correct.h"
#include "calseal/map/identity.h"

namespace calseal {
namespace {

class Rebuilding {
 public:
  // `memory`: what is known of `read` already, when many revisions are proved on it and no file is wanted.
  // `ahead`: digests of `read` that were begun before. `files`: those that the read came in; nothing: none is
  // made.
  Rebuilding(const OpenedBundle& opened, const Image& read, const MatchEvidence& evidence, Verdict& verdict,
             BaseMemory* memory, LockedAhead* ahead, const Read* files = nullptr,
             ImageChecks checks = ImageChecks::kTold)
      : opened_(opened),
        manifest_(opened.manifest),
        claims_(opened.manifest.controller()),
        evidence_(evidence),
        read_(read),
        files_(files),
        verdict_(verdict),
        memory_(memory),
        locked_(ahead),
        checks_told_(memory == nullptr && checks == ImageChecks::kTold) {}
  ~Rebuilding() {
    if (memory_ != nullptr && working_) memory_->give_back(std::move(image_), touched_);
  }
  Rebuilding(const Rebuilding&) = delete;
  Rebuilding& operator=(const Rebuilding&) = delete;

  Status run() {
    CALSEAL_CHECK(noted(verdict_.steps, "match", match()));
    CALSEAL_CHECK(noted(verdict_.steps, "claims", compare_structure()));
    CALSEAL_CHECK(noted(verdict_.steps, "freshness", judge_freshness()));
    CALSEAL_CHECK(noted(verdict_.steps, "rebuild", rebuild_floating()));
    CALSEAL_CHECK(noted(verdict_.steps, "confinement", prove()));
    CALSEAL_CHECK(noted(verdict_.steps, "checksums", judge_checks()));
    if (checks_told_) tell_failing_checks();
    return files_ == nullptr ? Status() : render();
  }

 private:
  Status claim(const std::string& place, const std::string& found, const std::string& expected) const {
    return fail(
        {Reason::kClaimMismatch, "", place, found, expected, "do not use this bundle; tell the shop"});
  }

  Status match() {
    working_ = memory_ != nullptr;
    // Not by a conditional expression, whose type would be const and nothing to move from.
    if (working_) {
      image_ = memory_->take_image();
    } else {
      image_ = read_;
    }
    // What the base did not know is left out of everything that is judged; the file keeps it as it came.
    bool all_in_base = true;
    for (std::size_t m = 0; m < image_.memories.size(); ++m) {
      base_known_.emplace_back();
      for (const Range& range : claims_.memories[m].known) base_known_.back().add(range);
      image_.memories[m].known = image_.memories[m].known.intersect(base_known_.back());
      all_in_base = all_in_base && image_.memories[m].known == read_.memories[m].known;
    }
    if (!all_in_base) cut_read_ = image_;
    touched_ = writable_bytes();
    lay_payload(opened_, image_, &touched_);
    if (memory_ == nullptr) {
      if (locked_ != nullptr) locked_->pause();  // the files to be written are for the other core now
      hash_ahead();
      std::optional<CoresTaken> taken;
      if (!ahead_.empty()) taken.emplace();  // a file is hashed there, which two cannot share
      CALSEAL_CHECK(
          match_base(opened_, read_, image_, [&](const NamedRange& place) { return digest_ahead(place); }));
    } else {
      CALSEAL_CHECK(match_base(opened_, read_, image_, [&](const NamedRange& place) {
        return memory_->digest_of(place, image_, touched_);
      }));
      // Nobody stands before a vehicle here: binding fields are compared where there is something to do it
      // with.
      if (!evidence_.salt) return {};
    }
    CALSEAL_ASSIGN(verdict_.vehicle, match_vehicle(opened_, read_, evidence_));
    return {};
  }

  // From here on only floating places are written. A raw file that is one memory as it stands is hashed from
  // now on, while its bytes are judged; the manifest's spans are proved before anything is written.
  void hash_ahead() {
    if (files_ == nullptr) return;
    for (const ReadSource& source : files_->sources) {
      if (!source.is_memory) continue;
      const std::size_t m = opened_.map.memory_index(source.memory);
      const Bytes& bytes = image_.memories[m].bytes;
      if (!DigestAhead::is_worth_it(bytes.size())) continue;
      ahead_.push_back(std::make_unique<DigestAhead>(bytes, settled_size(m)));
    }
  }

  // Of a locked span of the result, where it is as in the read; a permitted patch may make it differ.
  std::optional<Sha256> digest_ahead(const NamedRange& place) {
    if (locked_ == nullptr) return std::nullopt;
    const std::size_t m = opened_.map.memory_index(place.memory);
    for (const Range& range : touched_[m].within(place.range).ranges()) {
      if (!std::ranges::equal(image_.memories[m].view(range), read_.memories[m].view(range)))
        return std::nullopt;
    }
    return locked_->digest(place, image_.memories[m].view(place.range));
  }

  // Bytes before the first that floats.
  std::size_t settled_size(std::size_t memory) const {
    const Range extent = opened_.map.memories[memory].extent;
    std::uint64_t end = extent.end;
    for (const ManifestSpan& span : claims_.spans) {
      if (span.kind == SpanKind::kFloating && span.place.memory == opened_.map.memories[memory].name)
        end = std::min(end, span.place.range.begin);
    }
    return static_cast<std::size_t>(end - extent.begin);
  }

  // Nothing is written where it is hashed already, whatever the spans are called.
  void stop_hashing_what_floats() {
    for (const PlanGroup& group : plan_.order) {
      if (!plan_.nodes[group.nodes.front()].floating) continue;
      for (const std::size_t index : group.nodes) {
        for (const Place& place : plan_.nodes[index].writes) {
          const Memory& memory = image_.memories[place.memory];
          std::erase_if(ahead_, [&](const std::unique_ptr<DigestAhead>& ahead) {
            return ahead->bytes().data() == memory.bytes.data() &&
                   place.range.begin - memory.extent.begin < ahead->settled();
          });
        }
      }
    }
  }

  // What a revision may write. Whatever else a full payload carries, the read keeps its own locked, volatile
  // and binding bytes. The kinds are the manifest's; compare_structure() proves them.
  std::vector<RangeSet> writable_bytes() const {
    std::vector<RangeSet> sets(opened_.map.memories.size());
    for (const ManifestSpan& span : claims_.spans) {
      if (span.kind != SpanKind::kEditable && span.kind != SpanKind::kDerived) continue;
      sets[opened_.map.memory_index(span.place.memory)].add(span.place.range);
    }
    for (const PermittedPatch& patch : opened_.map.patches) sets[patch.place.memory].add(patch.place.range);
    return sets;
  }

  // The read, cut to what the base knows.
  const Image& before() const { return cut_read_ ? *cut_read_ : read_; }

  // A full payload carries locked bytes too: they are not laid down, but they must not lie.
  Status compare_full_payload() const {
    if (claims_.payload_kind != PayloadKind::kFull) return {};
    // The read is this very payload, and was compared whole.
    if (memory_ != nullptr && memory_->identity() == opened_.digest) return {};
    for (const ManifestSpan& span : claims_.spans) {
      if (span.kind != SpanKind::kLocked || !span.after) continue;
      const ByteView carried = carried_bytes(opened_, span.place);
      // The image's own were proved when the read was matched, so what equals them is not hashed again.
      if (std::ranges::equal(carried, image_.find(span.place.memory)->view(span.place.range))) continue;
      return claim("controllers/0/payload, " + span.place.memory + " " + range_text(span.place.range),
                   "locked bytes with SHA-256 " + digest_text(compute_sha256(carried)),
                   digest_text(*span.after) + " as the span says");
    }
    return {};
  }

  // The plan looks at locked bytes only, and these are proved by now.
  Status compare_structure() {
    if (memory_ == nullptr) {
      CALSEAL_ASSIGN(plan_, make_plan(opened_.map, image_));
    } else {
      CALSEAL_ASSIGN(plan_, memory_->plan(image_));
      for (std::size_t m = 0; m < touched_.size(); ++m)
        touched_[m].add(plan_.bytes_of(m, SpanKind::kFloating));
    }
    // The payload may know more than the read, so the image is looked at with what the base knew.
    std::vector<RangeSet> known = base_known_;
    swap_known(known);
    Status status = compare_shape(image_);
    swap_known(known);
    return status;
  }

  void swap_known(std::vector<RangeSet>& known) {
    for (std::size_t m = 0; m < known.size(); ++m) std::swap(image_.memories[m].known, known[m]);
  }

  Status compare_shape(const Image& base_shape) {
    std::vector<ManifestSpan> spans = describe_spans(plan_, base_shape);
    const auto same_shape = [](const ManifestSpan& a, const ManifestSpan& b) {
      return a.place == b.place && a.kind == b.kind;
    };
    if (!std::ranges::equal(spans, claims_.spans, same_shape)) {
      return claim("controllers/0/spans", "other spans than the region map cuts",
                   "the spans of the region map");
    }
    if (describe_write_ranges(plan_, base_shape) != claims_.write_ranges) {
      return claim("controllers/0/write_ranges", "other ranges than the region map gives",
                   "editable, patch and derived places");
    }
    if (describe_payload(plan_, base_shape, claims_.payload_kind, manifest_.revision) != claims_.payload) {
      return claim("controllers/0/payload", "other ranges than the region map gives",
                   "exactly the payload's areas");
    }
    CALSEAL_CHECK(compare_full_payload());
    std::vector<ManifestBinding> binding;
    for (const IdentityField& field : opened_.map.identity) {
      if (field.binds)
        binding.push_back(
            {field.name, {opened_.map.memories[field.place.memory].name, field.place.range}, std::nullopt});
    }
    const auto same_field = [](const ManifestBinding& a, const ManifestBinding& b) {
      return a.name == b.name && a.place == b.place;
    };
    if (!std::ranges::equal(binding, claims_.binding, same_field)) {
      return claim("controllers/0/binding", "other fields than the region map binds",
                   "the region map's binding fields");
    }
    verdict_.editable_share = editable_share(plan_, base_shape);
    return {};
  }

  // Erasing takes the whole sector, so what the vehicle keeps there must be in the read, and new.
  Status judge_freshness() {
    const std::vector<RangeSet> written = plan_.write_ranges(before());
    for (const Place& sector : opened_.map.sectors) {
      if (!written[sector.memory].overlaps(sector.range)) continue;
      RangeSet missing = base_known_[sector.memory].within(sector.range);
      missing.remove(before().memories[sector.memory].known);
      if (missing.empty()) continue;
      return fail({Reason::kReadIncomplete, "",
                   place_text(opened_.map, {sector.memory, missing.ranges().front()}),
                   "bytes that the read does not hold, in an erase sector to be written",
                   "every byte of such a sector",
                   "read the controller again, with all the memories of the first read"});
    }
    if (evidence_.read_is_fresh) return {};
    const auto stale = [&](const std::string& place, const std::string& found) {
      return fail({Reason::kReadNotFresh, "", place, found, "a read that is declared fresh",
                   "read the controller now, do not drive in between, and declare the read fresh"});
    };
    for (const Place& sector : opened_.map.sectors) {
      if (!written[sector.memory].overlaps(sector.range)) continue;
      for (const SpanKind kind : {SpanKind::kVolatile, SpanKind::kFloating}) {
        const RangeSet held = plan_.bytes_of(sector.memory, kind).within(sector.range);
        if (held.empty()) continue;
        return stale("sector " + place_text(opened_.map, sector),
                     "an erase sector to be written that also holds " + std::string(span_kind_name(kind)) +
                         " bytes at " + range_text(held.ranges().front()));
      }
    }
    for (std::size_t m = 0; m < written.size(); ++m) {
      const RangeSet floating = plan_.bytes_of(m, SpanKind::kFloating).intersect(written[m]);
      if (floating.empty()) continue;
      return stale(place_text(opened_.map, {m, floating.ranges().front()}),
                   "a checksum to be written that also covers volatile bytes");
    }
    return {};
  }

  Status rebuild_floating() {
    stop_hashing_what_floats();
    CALSEAL_CHECK(correct(plan_, image_, CorrectionScope::kFloating));
    // Locked spans were compared when the read was matched, and nothing has touched them since.
    std::vector<ManifestSpan> spans = claims_.spans;
    for (ManifestSpan& span : spans) {
      if (span.kind == SpanKind::kLocked) continue;
      span.after.reset();
      if (memory_ != nullptr && is_pinned(span.kind))
        span.after = memory_->digest_if_same(span.place, image_);
    }
    digest_spans(spans, image_, Side::kAfter);
    for (std::size_t i = 0; i < spans.size(); ++i) {
      if (spans[i].after == claims_.spans[i].after) continue;
      return fail({Reason::kResultMismatch, "",
                   spans[i].place.memory + " " + range_text(spans[i].place.range),
                   spans[i].after ? "SHA-256 " + digest_text(*spans[i].after) : "unknown bytes",
                   claims_.spans[i].after ? "SHA-256 " + digest_text(*claims_.spans[i].after) : "no digest",
                   "do not write; get the bundle again, and read the controller again"});
    }
    if (compute_pinned_digest(spans, Side::kAfter) != claims_.pinned_after) {
      return claim("controllers/0/pinned/after", digest_text(claims_.pinned_after),
                   digest_text(compute_pinned_digest(spans, Side::kAfter)) + " as computed");
    }
    return {};
  }

  Status prove() {
    // Everything the payload lays down becomes known; what was unknown before cannot have been changed.
    if (memory_ == nullptr) {
      proof_ = prove_confinement(plan_, before(), image_);
    } else {
      std::vector<ChangedRange> changes = compare_images(plan_, before(), image_, &touched_);
      std::vector<CheckOutcome> checks = memory_->checks(before(), image_, changes);
      proof_ = judge_changes(plan_, before(), image_, std::move(changes), std::move(checks));
    }
    verdict_.bytes_to_change = proof_.changed_bytes();
    for (const Error& violation : proof_.violations) {
      // Stale checksums of the result are judged by the next step, against what the manifest says of them.
      if (violation.reason != Reason::kDerivedWrong && violation.reason != Reason::kCopyOneSided)
        return fail(violation);
    }
    if (proof_.patches_applied.size() != claims_.patches.size()) {
      return claim("controllers/0/patches", std::to_string(claims_.patches.size()) + " patches",
                   std::to_string(proof_.patches_applied.size()) + " as in the region map");
    }
    for (std::size_t i = 0; i < claims_.patches.size(); ++i) {
      const ManifestPatch found{opened_.map.patches[i].name, proof_.patches_applied[i]};
      if (claims_.patches[i] != found) {
        return claim("controllers/0/patches/" + std::to_string(i), claims_.patches[i].name,
                     found.name + " as in the bytes");
      }
    }
    return compare_changes();
  }

  // The list of changes is relative to the base, so it can be proved when the read is the base. Where it is
  // right, it is right whatever was read.
  Status compare_changes() {
    const std::vector<Change> found = describe_changes(plan_, before(), proof_.changes);
    const auto same = [](const Change& a, const Change& b) {
      return a.place == b.place && a.region == b.region;
    };
    if (std::ranges::equal(found, opened_.changes, same) || !read_is_base()) return {};
    return claim(std::string(kChangesName),
                 std::to_string(opened_.changes.size()) + " ranges that are not the changes",
                 std::to_string(found.size()) + " ranges as in the bytes");
  }

  bool read_is_base() const {
    for (const ManifestSpan& span : claims_.spans) {
      if (!span.before) continue;
      const ByteView read = before().find(span.place.memory)->view(span.place.range);
      if (span.before == span.after) {
        if (!std::ranges::equal(read, image_.find(span.place.memory)->view(span.place.range))) return false;
      } else if (compute_sha256(read) != *span.before) {
        return false;
      }
    }
    return true;
  }

  Status judge_checks() {
    if (proof_.checks.size() != claims_.checksums.size()) {
      return claim("controllers/0/checksums", std::to_string(claims_.checksums.size()) + " checksums",
                   std::to_string(proof_.checks.size()) + " as in the region map");
    }
    for (std::size_t i = 0; i < proof_.checks.size(); ++i) {
      const CheckOutcome& outcome = proof_.checks[i];
      const ManifestChecksum& said = claims_.checksums[i];
      if (outcome.state == CheckState::kFails && !came_failing(said))
        return require_holding(plan_, {outcome});
      if (outcome.state == CheckState::kNotProvable && said.state_after == CheckState::kHolds) {
        return fail({Reason::kChecksumNotProvable, "", outcome.name, outcome.detail,
                     "a checksum that holds, as sealed",
                     "read the controller again, with all the memories of the first read"});
      }
      // What floats was corrected for this read, so it holds whatever came.
      const bool mended = came_failing(said) && outcome.floating && outcome.state == CheckState::kHolds;
      if (said.name != outcome.name || (said.state_after != outcome.state && !mended) ||
          said.after != describe_check(outcome)) {
        return claim("controllers/0/checksums/" + std::to_string(i), said.name + " " + said.after,
                     outcome.name + " " + describe_check(outcome) + " as computed");
      }
    }
    const std::vector<std::string> identity = describe_identity(plan_, image_);
    if (!std::ranges::equal(identity, claims_.identity, {}, {}, &ManifestIdentity::after)) {
      return claim("controllers/0/identity", "other texts than the image holds",
                   "the identity fields of the result");
    }
    return {};
  }

  // What no change reaches holds in the read as it does in the result.
  void tell_failing_checks() {
    const std::vector<CheckOutcome> of_read =
        verify_from(image_, proof_.checks, proof_.changes, plan_, before());
    for (std::size_t i = 0; i < of_read.size(); ++i) {
      const CheckOutcome& outcome = of_read[i];
      if (outcome.state != CheckState::kFails) continue;
      verdict_.cautions.push_back(
          {"read-checksum-fails", "in the read, " + outcome.name + " does not hold (" + outcome.detail +
                                      "): it was read while running, half written, or edited" +
                                      (came_failing(claims_.checksums[i]) ? "" : "; the result holds")});
    }
  }

  // The way back restores what was received, and what did not hold then does not have to hold now.
  bool came_failing(const ManifestChecksum& said) const {
    return manifest_.revision == 0 && said.state_after == CheckState::kFails;
  }

  Status render() {
    for (std::size_t m = 0; m < image_.memories.size(); ++m)
      image_.memories[m].known = read_.memories[m].known;
    // Before the bytes change hands: a file that cannot be rendered frees those of the others.
    std::vector<std::pair<ByteView, Sha256>> hashed;
    for (const std::unique_ptr<DigestAhead>& ahead : ahead_)
      hashed.emplace_back(ahead->bytes(), ahead->finish());
    CALSEAL_ASSIGN(std::vector<Bytes> files, render_read(opened_.map, *files_, std::move(image_)));
    for (std::size_t i = 0; i < files.size(); ++i) {
      // Bytes that are where they were hashed are those that were hashed.
      const auto known = std::ranges::find_if(hashed, [&](const auto& entry) {
        return entry.first.data() == files[i].data() && entry.first.size() == files[i].size();
      });
      const Sha256 digest = known == hashed.end() ? compute_sha256(files[i]) : known->second;
      verdict_.files.push_back(
          {files_->sources[i].memory, files_->sources[i].name, std::move(files[i]), digest});
    }
    return {};
  }

  const OpenedBundle& opened_;
  const Manifest& manifest_;
  const ManifestController& claims_;
  const MatchEvidence& evidence_;
  const Image& read_;
  const Read* files_;
  Verdict& verdict_;
  std::vector<RangeSet> base_known_;                 // one per memory
  std::optional<Image> cut_read_;                    // when the read knows more than the base
  Image image_;                                      // the result
  std::vector<std::unique_ptr<DigestAhead>> ahead_;  // of files, over image_'s bytes
  Plan plan_;
  Confinement proof_;
  BaseMemory* memory_;
  LockedAhead* locked_;
  bool checks_told_;
  bool working_ = false;           // image_ is the memory's
  std::vector<RangeSet> touched_;  // where image_ can differ from the read, with a memory
};

}  // namespace

BaseProof::BaseProof(const OpenedBundle& way_back, RegionMap map, Image image, SpanDigests* shared)
    : memory_(std::make_unique<BaseMemory>(way_back.digest, std::move(map), std::move(image))) {
  if (shared != nullptr) memory_->share(way_back.manifest, *shared);
}
BaseProof::BaseProof(BaseProof&&) noexcept = default;
BaseProof& BaseProof::operator=(BaseProof&&) noexcept = default;
BaseProof::~BaseProof() = default;

const Sha256& BaseProof::map_digest() const { return memory_->map().digest; }

Status BaseProof::prove(const OpenedBundle& opened, const std::optional<Bytes>& salt) {
  MatchEvidence evidence;
  evidence.read_is_fresh = true;
  evidence.salt = salt;
  Verdict unused;
  return Rebuilding(opened, memory_->image(), evidence, unused, memory_.get(), nullptr).run();
}

Status rebuild(const OpenedBundle& opened, const Read& read, const MatchEvidence& evidence, Verdict& verdict,
               LockedAhead* ahead) {
  return Rebuilding(opened, read.image, evidence, verdict, nullptr, ahead, &read).run();
}

Status rebuild_image(const OpenedBundle& opened, const Image& image, const MatchEvidence& evidence,
                     Verdict& verdict, LockedAhead* ahead, ImageChecks checks) {
  return Rebuilding(opened, image, evidence, verdict, nullptr, ahead, nullptr, checks).run();
}

}  // namespace calseal
