#include "calseal/study/vote.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr double kWrongValues = 255;

double choose(std::size_t n, std::size_t k) {
  double value = 1;
  for (std::size_t i = 0; i < k; ++i) value = value * static_cast<double>(n - i) / static_cast<double>(i + 1);
  return value;
}

// Bytes of memory `m` at which any read differs from the first, as ranges.
RangeSet moving(const std::vector<const Image*>& reads, std::size_t m) {
  RangeSet set;
  const Memory& first = reads.front()->memories[m];
  for (const Image* read : reads) {
    for (const Range& range : differing_ranges(first.bytes, read->memories[m].bytes)) {
      const Range at{range.begin + first.extent.begin, range.end + first.extent.begin};
      set.add(RangeSet(at).intersect(first.known));
    }
  }
  return set;
}

class Count {
 public:
  Count(const std::vector<const Image*>& reads, Vote& vote, Image& voted)
      : reads_(reads), vote_(vote), voted_(voted) {}

  void byte(std::size_t m, std::uint64_t address) {
    const std::size_t offset = static_cast<std::size_t>(address - voted_.memories[m].extent.begin);
    std::map<std::uint8_t, std::size_t> counts;
    for (const Image* read : reads_) ++counts[read->memories[m].bytes[offset]];
    const auto most = std::ranges::max_element(counts, {}, [](const auto& pair) { return pair.second; });
    if (2 * most->second <= reads_.size()) {
      ++vote_.tied;
      return;
    }
    ++vote_.outvoted;
    voted_.memories[m].bytes[offset] = most->first;
    for (std::size_t i = 0; i < reads_.size(); ++i) {
      if (reads_[i]->memories[m].bytes[offset] != most->first) ++vote_.minority[i];
    }
  }

 private:
  const std::vector<const Image*>& reads_;
  Vote& vote_;
  Image& voted_;
};

// What most reads say of every byte; which bytes are tables is not known yet.
Image majority_of(const std::vector<const Image*>& reads, const std::vector<RangeSet>& moves) {
  Image image = *reads.front();
  Vote unused;
  unused.minority.resize(reads.size());
  Count count(reads, unused, image);
  for (std::size_t m = 0; m < moves.size(); ++m) {
    for (const Range& range : moves[m].ranges()) {
      for (std::uint64_t address = range.begin; address < range.end; ++address) count.byte(m, address);
    }
  }
  return image;
}

std::uint64_t known_bytes(const Image& image) {
  std::uint64_t bytes = 0;
  for (const Memory& memory : image.memories) bytes += memory.known.size();
  return bytes;
}

bool know_the_same(const Image& a, const Image& b) {
  return std::ranges::equal(a.memories, b.memories, {}, &Memory::known, &Memory::known);
}

}  // namespace

Result<Vote> vote_reads(const RegionMap& map, const std::vector<const Image*>& all) {
  const Image* fullest =
      *std::ranges::max_element(all, {}, [](const Image* one) { return known_bytes(*one); });
  Vote vote;
  std::vector<const Image*> reads;
  for (const Image* read : all) {
    vote.compared.push_back(know_the_same(*read, *fullest));
    if (vote.compared.back()) reads.push_back(read);
  }
  if (reads.size() < 2) {
    return fail({Reason::kReadIncomplete, "", "", "reads that know different bytes",
                 "reads of the same addresses", "read again; compare only reads of one kind"});
  }
  std::vector<RangeSet> moves;
  for (std::size_t m = 0; m < map.memories.size(); ++m) moves.push_back(moving(reads, m));
  const Image guide = majority_of(reads, moves);
  CALSEAL_ASSIGN(const Plan plan, make_plan(map, guide));
  vote.minority.resize(reads.size());
  Image voted = *reads.back();  // volatile and floating bytes as a whole
  Count count(reads, vote, voted);
  std::uint64_t pinned = 0;
  for (const Span& span : plan.spans(guide)) {
    if (!span.known) continue;
    const RangeSet inside = moves[span.place.memory].within(span.place.range);
    if (!is_pinned(span.kind) && span.kind != SpanKind::kBinding) {
      vote.volatile_bytes += inside.size();
      continue;
    }
    pinned += span.place.range.size();
    vote.unanimous += span.place.range.size() - inside.size();
    for (const Range& range : inside.ranges()) {
      vote.disagreements.push_back(
          {{span.place.memory, range}, span.kind, region_at(map, span.place.memory, range.begin), ""});
      for (std::uint64_t address = range.begin; address < range.end; ++address)
        count.byte(span.place.memory, address);
    }
  }
  if (reads.size() < 3) return vote;
  std::uint64_t wrong = 1;  // no error seen is not no error
  for (const std::uint64_t times : vote.minority) wrong += times;
  const std::size_t majority = reads.size() / 2 + 1;
  const double rate =
      pinned == 0 ? 0 : static_cast<double>(wrong) / static_cast<double>(pinned * reads.size());
  vote.wrong_expected = static_cast<double>(pinned) * choose(reads.size(), majority) *
                        std::pow(rate, static_cast<double>(majority)) /
                        std::pow(kWrongValues, static_cast<double>(majority - 1));
  if (vote.tied != 0) return vote;
  CALSEAL_ASSIGN(const Plan again, make_plan(map, voted));
  vote.checks = verify_checks(again, voted);
  vote.image = std::move(voted);
  return vote;
}

}  // namespace calseal
