// What a manifest says about an image, computed from region map and bytes: the sealing side writes it, the
// checking side computes it again and compares.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/pinned_digest.h"
#include "calseal/change/compare.h"
#include "calseal/map/plan.h"
#include "calseal/map/read.h"
#include "calseal/map/verify.h"

namespace calseal {

// kClaimMismatch: the bundle contradicts itself, or the bytes. `file` only names it.
tl::unexpected<Error> claim_fault(std::string file, std::string place, std::string found,
                                  std::string expected);

std::vector<ManifestMemory> describe_memories(const Plan& plan, const Image& image);

// Every span of the image, without digests.
std::vector<ManifestSpan> describe_spans(const Plan& plan, const Image& image);

// The pinned spans' SHA-256 on one side, where there is none yet and the image knows them.
void digest_spans(std::vector<ManifestSpan>& spans, const Image& image, Side side);

// The pinned digest of an image under its region map: the same for all vehicles with the same software and
// calibration.
Sha256 pinned_digest_of(const Plan& plan, const Image& image);

// After digest_spans() of the image before: spans whose bytes are the same in `after` have the same digest
// there, without hashing. `changed`: what compare_images() gives for the two.
void carry_unchanged_digests(std::vector<ManifestSpan>& spans, const RegionMap& map, const Image& after,
                             const std::vector<ChangedRange>& changed);

std::vector<NamedRange> describe_write_ranges(const Plan& plan, const Image& image);

// The files of a read as they were received: the manifest's `files` of revision 0.
std::vector<ManifestFile> describe_received(const Read& read);

// Payload parts with their entry names: areas; or full, which is everything known for revision 0 and
// everything pinned for later ones (volatile, floating and binding bytes travel in revision 0 only).
std::vector<PayloadPart> describe_payload(const Plan& plan, const Image& image, PayloadKind kind,
                                          std::uint64_t revision);

// The manifest's value of a checksum: empty for copies, floating slots and what is not provable.
std::string describe_check(const CheckOutcome& outcome);

// Text of every identity field that does not bind, in map order; empty when a byte of it is unknown or not
// pinned.
std::vector<std::string> describe_identity(const Plan& plan, const Image& image);

// Differences of pinned bytes as changes.json lists them: cut at spans, memories in map order, ascending; no
// options. `changed`: what compare_images() gives for `before` and the result.
std::vector<Change> describe_changes(const Plan& plan, const Image& before,
                                     const std::vector<ChangedRange>& changed);

// HMAC-SHA-256 with the salt as key over "<controller> <memory> 0x%08x <decimal size>\n" and the field's
// bytes.
Sha256 salted_digest(ByteView salt, const RegionMap& map, const IdentityField& field, ByteView value);
Sha256 salted_digest(ByteView salt, const RegionMap& map, const IdentityField& field, const Image& image);

// True when the field is known and neither all 00 nor all ff.
bool field_says_something(const IdentityField& field, const Image& image);

}  // namespace calseal
