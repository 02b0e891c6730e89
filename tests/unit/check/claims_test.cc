// Bundles that are honestly signed and say something that is not so: every claim is computed again from bytes
// and region map.
#include <gtest/gtest.h>

#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

Bytes slice(const Bytes& bytes, std::uint64_t from, std::uint64_t size) {
  const auto begin = bytes.begin() + static_cast<std::ptrdiff_t>(from);
  return Bytes(begin, begin + static_cast<std::ptrdiff_t>(size));
}

class Claims : public ::testing::Test {
 protected:
  Claims() : result_(edited_small(job_.base, 9)) {
    auto sealed = job_.seal_revision(1, result_);
    if (!sealed) throw std::runtime_error(sealed.error().place);
    forgery_ = take_apart(*sealed);
  }

  ManifestController& controller() { return forgery_.controller(); }
  Verdict check(const SmallImage& read) const {
    return job_.check(put_together(forgery_, {job_.author}), read);
  }
  Verdict check() const { return check(job_.base); }

  // Offset of an address in the content of a payload part.
  std::size_t offset(const PayloadPart& part, std::uint64_t address) const {
    std::uint64_t at = 0;
    for (const Range& range : part.ranges) {
      if (range.contains(address)) return static_cast<std::size_t>(at + address - range.begin);
      at += range.size();
    }
    throw std::runtime_error("address not in the payload");
  }
  std::uint8_t& payload_byte(std::uint64_t address) {
    const PayloadPart& part = controller().payload.at(0);
    return forgery_.content(part.entry).at(offset(part, address));
  }

  // Adds a range of flash with these bytes to the payload.
  void carry(Range range, const Bytes& bytes) {
    PayloadPart& part = controller().payload.at(0);
    Bytes& content = forgery_.content(part.entry);
    std::vector<std::uint8_t> flash(0x400);
    RangeSet all;
    std::size_t at = 0;
    const auto lay = [&](Range r, ByteView from) {
      std::ranges::copy(from, flash.begin() + static_cast<std::ptrdiff_t>(r.begin - kFlash));
      all.add(r);
    };
    for (const Range& r : part.ranges) {
      lay(r, ByteView(content).subspan(at, static_cast<std::size_t>(r.size())));
      at += static_cast<std::size_t>(r.size());
    }
    lay(range, bytes);
    part.ranges = all.ranges();
    content.clear();
    for (const Range& r : part.ranges) {
      const Bytes piece = slice(flash, r.begin - kFlash, r.size());
      content.insert(content.end(), piece.begin(), piece.end());
    }
  }

  SmallJob job_;
  SmallImage result_;
  Forgery forgery_;
};

TEST_F(Claims, HoldWhenNothingIsBent) { EXPECT_EQ(rebuilt_small(check()), result_); }

TEST_F(Claims, ResultOfAnotherImage) {
  // The manifest speaks of another image than the payload makes.
  payload_byte(kFlash + 0x110) ^= 1U;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kResultMismatch, "flash 0x80000100-0x8000013f"));
}

TEST_F(Claims, DigestsOfAnotherImage) {
  forgery_.span("flash", kFlash + 0x40).after = compute_sha256(view_of("another"));
  EXPECT_THAT(check(), IsRefused(Reason::kResultMismatch));
}

TEST_F(Claims, ResultWhoseChecksumFails) {
  payload_byte(kFlash + 0x140) ^= 1U;
  forgery_.span("flash", kFlash + 0x140).after =
      compute_sha256(Bytes{static_cast<std::uint8_t>(result_.flash[0x140] ^ 1U), result_.flash[0x141]});
  EXPECT_THAT(check(), IsRefusedAt(Reason::kChecksumFails, "spark"));
  // Only the way back may say so and pass.
  std::ranges::find(controller().checksums, "spark", &ManifestChecksum::name)->state = CheckState::kFails;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kChecksumFails, "spark"));
}

TEST_F(Claims, ResultWhoseCopyIsOneSided) {
  Bytes mirror = slice(result_.flash, 0x80, 0x40);
  mirror[5] ^= 1U;
  payload_byte(kFlash + 0x85) ^= 1U;
  forgery_.span("flash", kFlash + 0x80).after = compute_sha256(mirror);
  // The balance follows, so that the copy alone is wrong.
  SmallImage bent = result_;
  std::ranges::copy(mirror, bent.flash.begin() + 0x80);
  std::uint32_t balance = 0;
  for (int i = 3; i >= 0; --i) balance = balance << 8 | result_.flash[0xc4 + static_cast<std::size_t>(i)];
  const auto word = [](const Bytes& bytes, std::size_t at) {
    return static_cast<std::uint32_t>(bytes[at] | bytes[at + 1] << 8 | bytes[at + 2] << 16) |
           static_cast<std::uint32_t>(bytes[at + 3]) << 24;
  };
  balance += word(result_.flash, 0x84) - word(bent.flash, 0x84);
  Bytes stored(4);
  small::put_little(stored, 0, balance, 4);
  for (std::size_t i = 0; i < 4; ++i) payload_byte(kFlash + 0xc4 + i) = stored[i];
  forgery_.span("flash", kFlash + 0xc4).after = compute_sha256(stored);
  // Another revision read back, so that the list of changes cannot be compared and does not answer first.
  EXPECT_THAT(check(edited_small(job_.base, 3)), IsRefusedAt(Reason::kCopyOneSided, "mirror"));
}

TEST_F(Claims, SpansCutElsewhere) {
  auto& spans = controller().spans;
  const auto it =
      std::ranges::find_if(spans, [](const ManifestSpan& s) { return s.kind == SpanKind::kEditable; });
  ManifestSpan second = *it;
  const std::uint64_t middle = it->place.range.begin + 0x20;
  it->place.range.end = second.place.range.begin = middle;
  const auto digests = [&](ManifestSpan& span) {
    const std::uint64_t from = span.place.range.begin - kFlash;
    span.before = compute_sha256(slice(job_.base.flash, from, span.place.range.size()));
    span.after = compute_sha256(slice(result_.flash, from, span.place.range.size()));
  };
  digests(*it);
  digests(second);
  spans.insert(it + 1, second);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/spans"));
}

TEST_F(Claims, EditableThatIsLocked) {
  // Code declared editable, carried and changed: the signature is true, the region map says no.
  ManifestSpan& code = forgery_.span("flash", kFlash + 0x200);
  ASSERT_EQ(code.kind, SpanKind::kLocked);
  const Range range = code.place.range;
  Bytes bytes = slice(job_.base.flash, range.begin - kFlash, range.size());
  bytes[0] = 0x99;
  code.kind = SpanKind::kEditable;
  code.after = compute_sha256(bytes);
  carry(range, bytes);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json")) << "the list says nothing of it";
  std::vector<Change> changes = *parse_changes(forgery_.content(kChangesName), "c");
  const auto behind = std::ranges::find(changes, "eeprom", [](const Change& c) { return c.place.memory; });
  changes.insert(behind, {{"flash", {range.begin, range.begin + 1}}, "", ""});
  const std::string text = write_changes(changes);
  forgery_.content(kChangesName).assign(text.begin(), text.end());
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/spans"));
}

TEST_F(Claims, LockedBytesInThePayload) {
  const Range range = forgery_.span("flash", kFlash + 0x200).place.range;
  carry(range, slice(job_.base.flash, range.begin - kFlash, range.size()));
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/payload")) << "even unchanged";
  Bytes& content = forgery_.content(controller().payload.at(0).entry);
  content[offset(controller().payload.at(0), range.begin)] ^= 1U;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/payload"));
}

TEST_F(Claims, VolatileBytesInThePayload) {
  const Range learned{kFlash + 0x180, kFlash + 0x1b0};
  const Bytes bytes(0x30, 0x11);
  carry(learned, bytes);
  EXPECT_THAT(check(), IsRefused(Reason::kManifestInvalid)) << "the manifest itself says volatile";
  ManifestSpan& span = forgery_.span("flash", learned.begin);
  span.kind = SpanKind::kEditable;
  span.before = span.after = compute_sha256(bytes);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/spans"));
}

TEST_F(Claims, BindingBytesInThePayload) {
  const Range vin{kFlash + 0x1c0, kFlash + 0x1d1};
  Bytes bytes(17, 'X');
  carry(vin, bytes);
  EXPECT_THAT(check(), IsRefused(Reason::kManifestInvalid));
  ManifestSpan& span = forgery_.span("flash", vin.begin);
  span.kind = SpanKind::kEditable;
  span.before = span.after = compute_sha256(bytes);
  std::erase_if(controller().binding, [](const ManifestBinding& b) { return b.name == "vin"; });
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/binding"));
}

// A full payload carries bytes that are none of its business; they are never laid down.
TEST_F(Claims, FullPayloadWithOtherVolatileBytesChangesNoRead) {
  forgery_ = take_apart(*job_.seal_base());
  payload_byte(kFlash + 0x181) ^= 0xffU;
  payload_byte(kFlash + 0x1c3) ^= 0xffU;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/files/0"));
  controller().files.at(0).digest = compute_sha256(forgery_.content(controller().payload.at(0).entry));
  const SmallImage read = driven_small(result_, 42);
  const Verdict verdict = check(read);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(rebuilt_small(verdict), driven_small(job_.base, 42));
}

TEST_F(Claims, FullPayloadWithOtherLockedBytes) {
  SealRequest request = job_.request(1, result_);
  request.payload = PayloadKind::kFull;
  for (const auto& sealed : {seal(request, {job_.author}, job_.trust), job_.seal_base()}) {
    ASSERT_THAT(sealed, IsOk());
    forgery_ = take_apart(*sealed);
    payload_byte(kFlash + 0x200) ^= 1U;
    controller().files.clear();
    EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/payload"));
  }
}

TEST_F(Claims, PayloadWithout) {
  // Everything of a span left out of the payload and of the write ranges: the image would stay as it is.
  controller().payload.pop_back();
  forgery_.contents.pop_back();
  forgery_.manifest.entries.pop_back();
  EXPECT_THAT(check(), IsRefused(Reason::kManifestInvalid));
}

TEST_F(Claims, WriteRanges) {
  const std::vector<NamedRange> honest = controller().write_ranges;
  controller().write_ranges.pop_back();
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/write_ranges"));
  controller().write_ranges = honest;
  controller().write_ranges.front().range.begin -= 1;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/write_ranges"));
}

TEST_F(Claims, BindingFieldOfAnotherName) {
  controller().binding.front().name = "win";
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/binding"));
  CheckRequest request = job_.check_request(put_together(forgery_, {job_.author}), job_.base);
  request.evidence.salt.reset();
  request.evidence.vehicle_reference = "blue estate";
  EXPECT_THAT(check_bundle(request), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/binding"));
}

TEST_F(Claims, BindingFieldOfAnotherVehicle) {
  controller().binding.front().digest = compute_sha256(view_of("another"));
  EXPECT_THAT(check(), IsRefused(Reason::kVehicleMismatch));
}

TEST_F(Claims, Patches) {
  controller().patches.front().in_result = true;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json")) << "the list says nothing of it";
  controller().patches.front() = {"short-blink", false, false};
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/patches"));
  controller().patches.clear();
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/patches"));
}

TEST_F(Claims, ChangesAreProvedOnTheBase) {
  const Bytes honest = forgery_.content(kChangesName);
  std::vector<Change> changes = *parse_changes(honest, "c");
  const auto set = [&](const std::vector<Change>& list) {
    const std::string text = write_changes(list);
    forgery_.content(kChangesName).assign(text.begin(), text.end());
  };
  std::vector<Change> bent = changes;
  bent.pop_back();
  set(bent);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json"));
  EXPECT_THAT(check(driven_small(job_.base, 3)), IsRefusedAt(Reason::kClaimMismatch, "changes.json"))
      << "learned values do not matter";
  bent = changes;
  bent.front().region = "spark";
  set(bent);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json"));
  // The option must be one that the manifest names.
  bent = changes;
  bent.front().option = "flat-foot";
  set(bent);
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "changes.json"));
  forgery_.manifest.options = {{"flat-foot", "Flat foot", compute_sha256(view_of("option"))}};
  EXPECT_THAT(check(), IsAccepted());
}

TEST_F(Claims, Checksums) {
  const std::vector<ManifestChecksum> honest = controller().checksums;
  for (std::size_t i = 0; i < honest.size(); ++i) {
    const std::string place = "controllers/0/checksums/" + std::to_string(i);
    controller().checksums = honest;
    controller().checksums[i].name = "other";
    EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, place));
    controller().checksums = honest;
    controller().checksums[i].value = "00";
    EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, place));
    controller().checksums[i].value = "";
    controller().checksums[i].state = CheckState::kNotProvable;
    EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, place));
  }
  controller().checksums = honest;
  controller().checksums.pop_back();
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/checksums"));
}

TEST_F(Claims, Identity) {
  controller().identity.front().text = "SJ-00002";
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/identity"));
}

TEST_F(Claims, RegionMap) {
  const auto honest = forgery_;
  controller().map_name = "smaller";
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/region_map"));
  forgery_ = honest;
  controller().map_grade = "verified";
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/region_map"));
  forgery_ = honest;
  controller().map_version += 1;
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/region_map"));
}

TEST_F(Claims, ControllerOfAnotherName) {
  controller().name = "motor";
  for (PayloadPart& part : controller().payload) part.entry = "payload/motor/" + part.memory + ".bin";
  for (ManifestEntry& entry : forgery_.manifest.entries) {
    const std::size_t at = entry.name.find("engine");
    if (at != std::string::npos) entry.name.replace(at, 6, "motor");
  }
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/name"));
}

TEST_F(Claims, MemoryOfAnotherName) {
  const auto rename = [](std::string& name) {
    if (name == "flash") name = "flush";
  };
  rename(controller().memories.front().name);
  for (ManifestSpan& span : controller().spans) rename(span.place.memory);
  for (NamedRange& range : controller().write_ranges) rename(range.memory);
  for (ManifestBinding& binding : controller().binding) rename(binding.place.memory);
  PayloadPart& part = controller().payload.front();
  rename(part.memory);
  for (ManifestEntry& entry : forgery_.manifest.entries) {
    if (entry.name == part.entry) entry.name = "payload/engine/flush.bin";
  }
  part.entry = "payload/engine/flush.bin";
  EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "controllers/0/memories/0"));
}

TEST_F(Claims, Set) {
  SealRequest request = job_.request(1, result_);
  SetDescriptor set;
  set.job = "job-7";
  set.members = {{"engine", 1, 2, job_.map.digest, controller().pinned_after},
                 {"transmission", 1, 5, compute_sha256(view_of("map")), compute_sha256(view_of("pinned"))}};
  set.write_order = {"transmission", "engine"};
  request.statement.set = set;
  const auto sealed = seal(request, {job_.author}, job_.trust);
  ASSERT_THAT(sealed, IsOk());
  const Verdict verdict = job_.check(sealed->file, job_.base);
  ASSERT_THAT(verdict, IsRefused(Reason::kSetIncomplete)) << "alone; with its partner: partners_test.cc";
  EXPECT_TRUE(std::ranges::any_of(verdict.cautions, [](const Caution& c) {
    return c.code == "set" && c.text.find("transmission") != std::string::npos &&
           c.text.find("must not be driven") != std::string::npos;
  }));

  std::vector<SetDescriptor> others(6, set);
  others[0].job = "job-8";
  others[1].members[0].base = 2;
  others[2].members[0].sequence = 3;
  others[3].members[0].map_digest = compute_sha256(view_of("x"));
  others[4].members[0].pinned = compute_sha256(view_of("x"));
  others[5].members[0].controller = "brakes";
  others[5].write_order = {"transmission", "brakes"};
  for (const SetDescriptor& other : others) {
    request.statement.set = other;
    EXPECT_THAT(seal(request, {job_.author}, job_.trust), FailsWith(Reason::kClaimMismatch, "set.json"));
    forgery_ = take_apart(*sealed);
    const std::string text = write_set(other);
    forgery_.content(kSetName).assign(text.begin(), text.end());
    forgery_.manifest.set = compute_sha256(view_of(text));
    EXPECT_THAT(check(), IsRefusedAt(Reason::kClaimMismatch, "set.json"));
  }
}

TEST_F(Claims, ContentThatIsNotWhatTheManifestNames) {
  Forgery bent = forgery_;
  ManifestEntry& entry = bent.manifest.entries.back();
  entry.digest = compute_sha256(view_of("another"));
  if (!entry.deflated) entry.stored_digest = entry.digest;
  const std::string text = write_manifest(bent.manifest);
  // Written by hand: write_bundle() would not.
  const auto signature = *job_.author.sign(view_of(text));
  const Framing framing = compute_framing(view_of(text), {signature}, bent.manifest);
  const auto honest = put_together(forgery_, {job_.author});
  const auto honest_prefix = read_prefix(honest, "b");
  const auto parsed = parse_manifest(honest_prefix->manifest, "b");
  const Framing from = *verify_framing(honest, *honest_prefix, *parsed, "b");
  Bytes file;
  for (std::size_t i = 0; i < framing.entries.size(); ++i) {
    const Bytes header = local_header(framing.entries[i]);
    file.insert(file.end(), header.begin(), header.end());
    if (i == 0) {
      file.insert(file.end(), text.begin(), text.end());
    } else if (i == 1) {
      file.insert(file.end(), signature.signature.begin(), signature.signature.end());
    } else {
      const Bytes content = slice(honest, from.content_offset(i), from.entries[i].stored_size);
      file.insert(file.end(), content.begin(), content.end());
    }
  }
  const Bytes directory = central_directory(framing);
  file.insert(file.end(), directory.begin(), directory.end());
  const Reason wanted = entry.deflated ? Reason::kContentDigest : Reason::kStoredDigest;
  EXPECT_THAT(job_.check(file, job_.base), IsRefused(wanted));
}

}  // namespace
}  // namespace calseal
