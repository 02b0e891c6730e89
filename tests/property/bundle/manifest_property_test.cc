// Manifests made at random: written and read they are the same, and no other text reads as the same.
#include <gtest/gtest.h>

#include "calseal/base/range_set.h"
#include "support/matchers.h"
#include "support/random.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

// A controller with one to four memories cut into random spans, described as the format wants it.
ManifestController random_controller(Random& random) {
  ManifestController c = sample_controller();
  c.memories.clear();
  c.spans.clear();
  c.binding.clear();
  c.write_ranges.clear();
  c.payload.clear();
  const std::uint64_t count = random.between(1, 4);
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::string name = "m" + std::to_string(i);
    const std::uint64_t origin = random.between(0, 0xffff0000);
    std::uint64_t at = origin;
    RangeSet known;
    RangeSet areas;
    for (std::uint64_t spans = random.between(1, 12); spans > 0; --spans) {
      const Range range{at, at + random.between(1, 300)};
      at = range.end;
      ManifestSpan span;
      span.place = {name, range};
      span.kind = static_cast<SpanKind>(random.between(0, 5));
      const bool is_known = random.between(0, 3) != 0;
      if (is_known) known.add(range);
      if (is_known && is_pinned(span.kind)) {
        span.before = span.after = compute_sha256(random.bytes(4));
        if (span.kind != SpanKind::kLocked) {
          span.after = compute_sha256(random.bytes(4));
          areas.add(range);
          c.write_ranges.push_back(span.place);
        }
      }
      if (span.kind == SpanKind::kBinding) {
        c.binding.push_back({"b" + std::to_string(c.binding.size()), span.place, std::nullopt});
      }
      c.spans.push_back(span);
    }
    c.memories.push_back({name, {origin, at}, known.ranges()});
    if (!areas.empty()) c.payload.push_back({name, "payload/engine/" + name + ".bin", areas.ranges()});
  }
  c.pinned_before = compute_pinned_digest(c.spans, Side::kBefore);
  c.pinned_after = compute_pinned_digest(c.spans, Side::kAfter);
  return c;
}

std::string random_text(Random& random) {
  static const std::vector<std::string> kPieces{"a",
                                                "Z",
                                                " ",
                                                "\"",
                                                "\\",
                                                "/",
                                                "\n",
                                                "\t",
                                                "\r",
                                                "\b",
                                                "\f",
                                                std::string(1, '\0'),
                                                "\x1f",
                                                "\x7f",
                                                "\xc3\xa9",
                                                "\xe2\x82\xac",
                                                "\xf0\x9f\x9a\x97"};
  std::string text;
  for (std::uint64_t i = random.between(0, 30); i > 0; --i)
    text += kPieces[random.between(0, kPieces.size() - 1)];
  return text;
}

// Where every byte is pinned a later revision names the file of each memory.
void name_files(ManifestController& controller) {
  controller.files.clear();
  for (const ManifestSpan& span : controller.spans) {
    if (!span.after) return;
  }
  for (const ManifestMemory& memory : controller.memories)
    controller.files.push_back({memory.name, "raw", memory.extent.size(), compute_sha256(Bytes{1})});
}

Manifest random_manifest(Random& random) {
  const SampleBundle before = make_sample_bundle();
  SampleBundle sample = before;
  Manifest& m = sample.manifest;
  const Sha256 map_digest = m.controllers[0].map_digest;
  m.controllers = {random_controller(random)};
  m.controllers[0].map_digest = map_digest;
  name_files(m.controllers[0]);
  m.notes = random_text(random);
  m.annotations = {{"a", random_text(random)}, {"b", random_text(random)}};
  m.revision = random.between(1, 1000);
  m.sequence = m.revision + random.between(1, 1000000);
  m.base_number = random.between(1, 1000000);
  m.entries.clear();
  for (std::size_t i = 0; i < 3; ++i)
    add_sample_entry(sample, before.manifest.entries[i].name, before.contents[i]);
  for (const PayloadPart& part : m.controllers[0].payload) {
    std::uint64_t size = 0;
    for (const Range& range : part.ranges) size += range.size();
    add_sample_entry(sample, part.entry, random.bytes(size));
  }
  for (std::size_t i = 4; i < 6; ++i) {
    const Bytes stream = before.manifest.entries[i].deflated ? before.stored[i] : Bytes();
    add_sample_entry(sample, before.manifest.entries[i].name, before.contents[i], stream);
  }
  return m;
}

TEST(ManifestProperty, WrittenAndReadIsTheSame) {
  Random random;
  for (int round = 0; round < 300; ++round) {
    const Manifest manifest = random_manifest(random);
    ASSERT_THAT(parse_manifest(view_of(write_manifest(manifest)), "m"), IsOkAnd(manifest))
        << "round " << round;
  }
}

// Where a bent text still reads, it says something else; two texts never mean one manifest.
TEST(ManifestProperty, NoTwoTextsMeanTheSame) {
  Random random;
  const std::string text = write_manifest(random_manifest(random));
  int read = 0;
  for (int round = 0; round < 1500; ++round) {
    std::string bent = text;
    const std::size_t at = random.between(0, bent.size() - 1);
    switch (random.between(0, 2)) {
      case 0:
        bent[at] = static_cast<char>(random.between(0x20, 0x7e));
        break;
      case 1:
        bent.erase(at, random.between(1, 3));
        break;
      default:
        bent.insert(at, 1, " \t\n,\"0}]"[random.between(0, 7)]);
        break;
    }
    if (bent == text) continue;
    const auto parsed = parse_manifest(view_of(bent), "m");
    if (!parsed) continue;
    ++read;
    ASSERT_EQ(write_manifest(*parsed), bent);
    ASSERT_NE(write_manifest(*parsed), text);
  }
  EXPECT_GT(read, 0) << "no bent text was readable, so nothing was compared";
}

}  // namespace
}  // namespace calseal
