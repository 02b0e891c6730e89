#include "calseal/query/identify.h"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/claims.h"
#include "calseal/check/image_digests.h"
#include "calseal/check/open.h"
#include "calseal/check/payload.h"
#include "calseal/job/open_base.h"
#include "calseal/query/indexed_bundles.h"
#include "calseal/query/lay_out.h"

namespace calseal {
namespace {

constexpr std::size_t kNearLimit = 32;  // bundles opened to find the nearest

// How far a revision and an image agree, by span digests.
struct Score {
  std::int64_t file = 0;
  std::uint64_t matched = 0;   // bytes of spans that are as the revision has them
  std::uint64_t told = 0;      // of these, in spans that are not one byte repeated: blank says nothing
  std::uint64_t own = 0;       // of these, in spans in which the revision differs from its base
  std::uint64_t compared = 0;  // bytes of spans that the image knows
  std::uint64_t known = 0;     // pinned bytes that the image knows
  std::uint64_t pinned = 0;
  std::uint64_t locked_bad = 0, locked_good = 0;

  bool exact() const { return matched == known && compared == known && told > 0; }
  auto rank() const { return std::tuple(exact(), told, matched); }
};

struct SpanLook {
  bool known = false;
  bool blank = false;
  Sha256 digest;
};

// One way to lay out the file, compared with all revisions of its region map.
struct Comparison {
  const RegionMap* map = nullptr;
  LaidOut laid;
  std::vector<Score> scores;
};

SpanLook look_at(const Image& image, const std::string& memory, Range range) {
  SpanLook look;
  const Memory* const found = image.find(memory);
  if (found == nullptr || !found->extent.contains(range) || !found->knows(range)) return look;
  const ByteView bytes = found->view(range);
  look.known = true;
  look.blank = std::ranges::all_of(bytes, [&](std::uint8_t byte) { return byte == bytes.front(); });
  look.digest = compute_sha256(bytes);
  return look;
}

std::uint64_t known_bytes(const Image& image, const std::string& memory, Range range) {
  const Memory* const found = image.find(memory);
  std::uint64_t count = 0;
  if (found == nullptr) return count;
  for (const Range& part : found->known.within(range).ranges()) count += part.size();
  return count;
}

void score_revisions(const Index& index, Comparison& comparison) {
  std::map<std::tuple<std::string, std::uint64_t, std::uint64_t>, SpanLook> looks;
  Query query(
      *index.database,
      "SELECT s.file, s.memory, s.first, s.past, s.kind, s.before, s.after FROM spans s JOIN revisions r"
      " ON r.file=s.file WHERE r.map=? ORDER BY s.file");
  query.bind(comparison.map->digest);
  while (query.step()) {
    const std::int64_t file = query.signed_number(0);
    if (comparison.scores.empty() || comparison.scores.back().file != file)
      comparison.scores.push_back({.file = file});
    Score& score = comparison.scores.back();
    const std::optional<Sha256> after = query.digest(6);
    const Range range{query.number(2), query.number(3)};
    if (!after || range.begin >= range.end) continue;
    const std::string memory = query.text(1);
    const auto [found, fresh] = looks.try_emplace({memory, range.begin, range.end});
    if (fresh) found->second = look_at(comparison.laid.image, memory, range);
    const SpanLook& look = found->second;
    score.pinned += range.size();
    score.known += look.known ? range.size() : known_bytes(comparison.laid.image, memory, range);
    if (!look.known) continue;
    const bool locked = query.number(4) == static_cast<std::uint64_t>(SpanKind::kLocked);
    score.compared += range.size();
    if (look.digest != *after) {
      score.locked_bad += locked ? range.size() : 0;
      continue;
    }
    score.matched += range.size();
    score.locked_good += locked ? range.size() : 0;
    if (look.blank) continue;
    score.told += range.size();
    if (query.digest(5) != after) score.own += range.size();
  }
}

std::string region_at(const RegionMap& map, const std::string& memory, std::uint64_t address) {
  const std::size_t index = map.memory_index(memory);
  for (const Region& region : map.regions) {
    if (region.place.memory == index && region.place.range.contains(address)) return region.name;
  }
  return "";
}

class Likenesses {
 public:
  explicit Likenesses(const RegionMap& map) : map_(map) {}

  void add(const std::string& memory, Range range, Likeness likeness) {
    if (range.empty()) return;
    const std::string region = region_at(map_, memory, range.begin);
    if (!ranges_.empty()) {
      LikenessRange& last = ranges_.back();
      if (last.memory == memory && last.range.end == range.begin && last.likeness == likeness &&
          last.region == region) {
        last.range.end = range.end;
        return;
      }
    }
    ranges_.push_back({memory, range, region, likeness});
  }

  // Byte by byte with what the revision carries; what either side does not know cannot be said.
  void compare(const Memory& ours, const Memory& theirs, Range range) {
    const RangeSet mine = ours.known.within(range), have = theirs.known.within(range);
    std::uint64_t at = range.begin;
    while (at < range.end) {
      const Likeness likeness = likeness_at(ours, theirs, mine, have, at);
      std::uint64_t end = at + 1;
      while (end < range.end && likeness_at(ours, theirs, mine, have, end) == likeness) ++end;
      add(ours.name, {at, end}, likeness);
      at = end;
    }
  }

  std::vector<LikenessRange> take() { return std::move(ranges_); }

 private:
  static Likeness likeness_at(const Memory& ours, const Memory& theirs, const RangeSet& mine,
                              const RangeSet& have, std::uint64_t at) {
    const Range byte{at, at + 1};
    if (!mine.contains(byte) || !have.contains(byte)) return Likeness::kCannotSay;
    return ours.view(byte).front() == theirs.view(byte).front() ? Likeness::kOurs : Likeness::kChanged;
  }

  const RegionMap& map_;
  std::vector<LikenessRange> ranges_;
};

std::vector<LikenessRange> compare_with(const OpenedBundle& opened, const Image& theirs) {
  Image ours = blank_image(opened.map);
  lay_payload(opened, ours);
  Likenesses likenesses(opened.map);
  const std::vector<ManifestSpan>& spans = opened.manifest.controller().spans;
  const auto digests = ImageDigests(theirs).of_spans(spans, [&](const ManifestSpan& span) {
    const Memory* const have = theirs.find(span.place.memory);
    return is_pinned(span.kind) && span.after && have != nullptr && have->knows(span.place.range);
  });
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const ManifestSpan& span = spans[i];
    const std::string& memory = span.place.memory;
    const Range range = span.place.range;
    const Memory* const mine = ours.find(memory);
    const Memory* const have = theirs.find(memory);
    if (!is_pinned(span.kind)) {
      likenesses.add(memory, range, Likeness::kAside);
    } else if (!span.after || mine == nullptr || have == nullptr) {
      likenesses.add(memory, range, Likeness::kCannotSay);
    } else if (digests[i] == span.after) {
      likenesses.add(memory, range, Likeness::kOurs);
    } else if (span.kind == SpanKind::kLocked && have->knows(range) && !mine->knows(range)) {
      likenesses.add(memory, range, Likeness::kNotOurs);
    } else {
      likenesses.compare(*mine, *have, range);
    }
  }
  std::vector<LikenessRange> ranges = likenesses.take();
  // Bytes of locked places that revision 0 carries and the file has otherwise.
  for (LikenessRange& range : ranges) {
    if (range.likeness != Likeness::kChanged) continue;
    const std::size_t memory = opened.map.memory_index(range.memory);
    if (policy_at(opened.map, memory, range.range.begin) == Policy::kLocked)
      range.likeness = Likeness::kNotOurs;
  }
  return ranges;
}

std::uint64_t bytes_with(const std::vector<LikenessRange>& ranges, Likeness likeness) {
  std::uint64_t count = 0;
  for (const LikenessRange& range : ranges) count += range.likeness == likeness ? range.range.size() : 0;
  return count;
}

// By the salt that the job folder around the bundle keeps.
SameVehicle compare_vehicle(const std::string& bundle_path, const Manifest& manifest, const RegionMap& map,
                            const Image& image) {
  std::string folder = bundle_path;
  for (int up = 0; up < 2; ++up) {
    const std::size_t slash = folder.rfind('/');
    if (slash == std::string::npos) return SameVehicle::kNotTold;
    folder.resize(slash);
  }
  const Result<std::optional<Bytes>> kept = load_job_salt(folder);
  if (!kept || !*kept || !manifest.salt_digest) return SameVehicle::kNotTold;
  const Bytes& salt = **kept;
  if (compute_sha256(salt) != *manifest.salt_digest) return SameVehicle::kNotTold;
  if (manifest.controller().map_digest != map.digest) return SameVehicle::kNotTold;
  SameVehicle result = SameVehicle::kNotTold;
  for (const ManifestBinding& binding : manifest.controller().binding) {
    for (const IdentityField& field : map.identity) {
      if (field.name != binding.name || !binding.digest || !field_says_something(field, image)) continue;
      if (salted_digest(salt, map, field, image) != *binding.digest) return SameVehicle::kOther;
      result = SameVehicle::kSame;
    }
  }
  return result;
}

Result<IdentifiedRevision> describe(const Index& index, std::int64_t file, const Comparison& comparison,
                                    const TrustFile* trust) {
  CALSEAL_ASSIGN(const Manifest manifest, read_manifest(index, file));
  CALSEAL_ASSIGN(std::optional<FoundRevision> found, find_file(index, file, trust));
  IdentifiedRevision described;
  if (found) described.revision = std::move(*found);
  described.vehicle = compare_vehicle(index.folder + "/" + path_of(index, file), manifest, *comparison.map,
                                      comparison.laid.image);
  return described;
}

// The nearest of revisions that digests cannot tell apart, by the bytes that they carry.
Status choose_nearest(const Index& index, const Comparison& comparison, std::vector<const Score*> near,
                      const TrustFile* trust, Identification& result) {
  result.as_near = near.size();
  if (near.size() > kNearLimit) near.resize(kNearLimit);
  std::uint64_t best = 0;
  const Score* nearest = nullptr;
  std::vector<std::uint64_t> examined;
  for (const Score* const score : near) {
    const Result<OpenedBundle> opened = open_bundle(index, score->file);
    if (!opened) continue;
    std::vector<LikenessRange> ranges = compare_with(*opened, comparison.laid.image);
    const std::uint64_t ours = bytes_with(ranges, Likeness::kOurs);
    examined.push_back(ours);
    if (nearest != nullptr && ours <= best) continue;
    best = ours;
    nearest = score;
    result.ranges = std::move(ranges);
  }
  if (nearest == nullptr) return {};
  result.as_near -= static_cast<std::uint64_t>(
      std::ranges::count_if(examined, [&](std::uint64_t ours) { return ours < best; }));
  result.known = nearest->known;
  result.pinned = nearest->pinned;
  CALSEAL_ASSIGN(IdentifiedRevision described, describe(index, nearest->file, comparison, trust));
  result.revisions.push_back(std::move(described));
  const std::uint64_t other = bytes_with(result.ranges, Likeness::kChanged);
  const std::uint64_t foreign = bytes_with(result.ranges, Likeness::kNotOurs);
  if (best + other + foreign == 0) return {};
  const bool stands_on_our_base = foreign == 0 && (nearest->locked_good > 0 || best >= other);
  result.verdict = nearest->own > 0 || stands_on_our_base ? Likeness::kChanged : Likeness::kNotOurs;
  return {};
}

}  // namespace

std::string_view likeness_name(Likeness likeness) {
  constexpr std::string_view names[] = {"ours", "changed", "not-ours", "cannot-say", "aside"};
  return names[static_cast<std::size_t>(likeness)];
}

std::string_view same_vehicle_name(SameVehicle vehicle) {
  constexpr std::string_view names[] = {"not-told", "same", "other"};
  return names[static_cast<std::size_t>(vehicle)];
}

Result<Identification> identify(const Index& index, const std::string& file, const PlaceHint& hint,
                                const TrustFile* trust) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(file, kReadFileLimit));
  Identification result;
  const std::vector<RegionMap> maps = maps_of(index);
  std::optional<Comparison> best;
  Score top;
  for (const RegionMap& map : maps) {
    std::vector<LaidOut> ways = ways_to_lay(map, bytes, hint);
    result.maps_tried += ways.empty() ? 0 : 1;
    for (LaidOut& way : ways) {
      Comparison comparison{&map, std::move(way), {}};
      score_revisions(index, comparison);
      for (const Score& score : comparison.scores) {
        if (best && score.rank() <= top.rank()) continue;
        top = score;
        best.emplace(Comparison{&map, {}, {}});
      }
      if (best && best->map == &map && best->scores.empty()) *best = std::move(comparison);
    }
  }
  CALSEAL_CHECK(index.database->status());
  if (!best) return result;
  result.form = best->laid.form;
  result.map_name = best->map->name;
  result.part_of = best->laid.part_of;
  result.at = best->laid.at;
  std::vector<const Score*> near;
  for (const Score& score : best->scores) {
    if (score.rank() == top.rank()) near.push_back(&score);
  }
  if (!top.exact()) {
    CALSEAL_CHECK(choose_nearest(index, *best, std::move(near), trust, result));
    return result;
  }
  result.verdict = Likeness::kOurs;
  result.known = top.known;
  result.pinned = top.pinned;
  const Sha256 whole = compute_sha256(bytes);
  for (const Score* const score : near) {
    Result<IdentifiedRevision> described = describe(index, score->file, *best, trust);
    if (!described) continue;
    Query received(*index.database, "SELECT 1 FROM stock WHERE file=? AND digest=?");
    described->as_received = received.bind(score->file).bind(whole).step();
    result.revisions.push_back(std::move(*described));
  }
  drop_handed_copies(result.revisions,
                     [](const IdentifiedRevision& one) -> const FoundRevision& { return one.revision; });
  // The same vehicle first, another one last; else the newest of each job first.
  const auto order = [](const IdentifiedRevision& one) {
    return one.vehicle == SameVehicle::kSame ? 0 : one.vehicle == SameVehicle::kNotTold ? 1 : 2;
  };
  std::ranges::stable_sort(result.revisions, {}, order);
  if (!near.empty()) {
    const Result<OpenedBundle> opened = open_bundle(index, near.front()->file);
    if (opened) result.ranges = compare_with(*opened, best->laid.image);
  }
  return result;
}

}  // namespace calseal
