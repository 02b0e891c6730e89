// Whether each checksum's coverage, swap, substitutes and balance fit together.
#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

// Bytes from one partner to the other lie inside a group of this size; 1 without swap.
std::uint64_t group_of(int swap) { return swap == 0 ? 1 : static_cast<std::uint64_t>(swap) / 8; }

// Addresses whose bytes a coverage range reads: swap mirrors them inside their group, so whole groups stay as
// they are and cut ones come from the group's other end.
std::vector<Range> read_addresses(const Range& range, int swap) {
  const std::uint64_t group = group_of(swap);
  const auto mirrored = [&](const Range& part) {
    const std::uint64_t sum = 2 * (part.begin / group * group) + group;
    return Range{sum - part.end, sum - part.begin};
  };
  const std::uint64_t whole_begin = (range.begin + group - 1) / group * group;
  const std::uint64_t whole_end = range.end / group * group;
  if (whole_end < whole_begin) return {mirrored(range)};  // inside one group
  std::vector<Range> read;
  if (range.begin < whole_begin) read.push_back(mirrored({range.begin, whole_begin}));
  if (whole_begin < whole_end) read.push_back({whole_begin, whole_end});
  if (whole_end < range.end) read.push_back(mirrored({whole_end, range.end}));
  return read;
}

// The checksum being judged, and what its coverage says without an image.
class Judgement {
 public:
  Judgement(Draft& draft, std::size_t index)
      : draft_(draft), checksum_(draft.map.checksums[index]), origin_(*draft.checksums[index]) {}

  // `read_before` counts the bytes that all checksums up to this one read.
  void run(std::uint64_t& read_before) {
    judge_coverage(read_before);
    judge_substitutes();
    if (checksum_.rule && checksum_.rule->balance) judge_balance(*checksum_.rule->balance);
  }

 private:
  void contradict(const JsonNode& where, std::string found, std::string expected, std::string next) {
    draft_.refuse(Phase::kChecksums, Reason::kMapChecksum, where,
                  "checksum \"" + checksum_.name + "\": " + found, std::move(expected), std::move(next));
  }
  void give_up(std::string found, std::string expected) {
    draft_.refuse(Phase::kChecksums, Reason::kMapUnsolvable, *origin_.balance,
                  "checksum \"" + checksum_.name + "\": " + found, std::move(expected),
                  "correct the balance, or leave it out: the rule is then verified but never corrected");
  }

  const CoverageRange* range_at(std::size_t k) const {
    return std::get_if<CoverageRange>(&checksum_.coverage[k]);
  }
  const CoverageTable* table_at(std::size_t k) const {
    return std::get_if<CoverageTable>(&checksum_.coverage[k]);
  }

  // Whether a table may reach into a memory; only an image tells where.
  bool table_into(std::size_t memory) const {
    return std::any_of(checksum_.coverage.begin(), checksum_.coverage.end(), [&](const Coverage& part) {
      const auto* table = std::get_if<CoverageTable>(&part);
      return table != nullptr && table->table.points_into == memory;
    });
  }

  void judge_coverage(std::uint64_t& read_before) {
    bool reads_image = false;
    std::uint64_t total = 0;
    for (std::size_t k = 0; k < checksum_.coverage.size(); ++k) {
      if (const CoverageRange* part = range_at(k)) {
        reads_image = true;
        total += part->place.range.size();
        judge_partners(part->place, *origin_.coverage[k]);
      } else if (table_at(k) != nullptr) {
        reads_image = true;
      } else {
        total += std::get<CoverageLiteral>(checksum_.coverage[k]).bytes->size();
      }
    }
    if (!reads_image) {
      contradict(*origin_.whole, "coverage of literal bytes alone", "at least one range or table",
                 "say which bytes of the image it reads");
    }
    // 65536 places of at most 256 MiB, so this cannot wrap.
    read_before += total;
    if (read_before > kChecksumReadLimit) {
      contradict(*origin_.whole, grouped(read_before) + " bytes read by all checksums up to this one",
                 "at most " + grouped(kChecksumReadLimit), "correct the coverage, or the repetition");
    }
  }

  void judge_partners(const Place& place, const JsonNode& where) {
    if (checksum_.swap == 0) return;
    for (const Range& read : read_addresses(place.range, checksum_.swap)) {
      if (draft_.exists[place.memory].contains(read)) continue;
      contradict(where, "swapped bytes at " + place_text(draft_.map, {place.memory, read}),
                 "the partner of every byte inside the memory and its segments",
                 "let the range begin and end at a multiple of " + std::to_string(group_of(checksum_.swap)));
      return;
    }
  }

  void judge_substitutes() {
    if (checksum_.substitutes.empty()) return;
    std::vector<Place> read;
    for (std::size_t k = 0; k < checksum_.coverage.size(); ++k) {
      const CoverageRange* part = range_at(k);
      if (part == nullptr) continue;
      for (const Range& range : read_addresses(part->place.range, checksum_.swap))
        read.push_back({part->place.memory, range});
    }
    std::sort(read.begin(), read.end());
    std::vector<RangeSet> reached(draft_.map.memories.size());
    for (const Place& place : read) reached[place.memory].add(place.range);
    for (std::size_t k = 0; k < checksum_.substitutes.size(); ++k) {
      const Place& place = checksum_.substitutes[k].place;
      if (reached[place.memory].overlaps(place.range) || table_into(place.memory)) continue;
      contradict(*origin_.substitutes[k],
                 "a substitute at " + place_text(draft_.map, place) + " that nothing reads",
                 "a place that the coverage reaches", "correct the place, or remove the substitute");
    }
  }

  // Where the balance's bytes stand in the message. Behind or inside a table only an image tells.
  struct Positions {
    std::vector<std::uint64_t> at;  // ascending
    bool known = true;              // all of `at`
    std::uint64_t length = 0;       // of the message
    bool length_known = true;
  };

  // Nothing after a fault.
  std::optional<Positions> find_positions(const Place& balance) {
    Positions positions;
    std::array<int, kBalanceSizeLimit> times{};  // that each byte is read
    const std::uint64_t mirror = group_of(checksum_.swap) - 1;
    for (std::size_t k = 0; k < checksum_.coverage.size(); ++k) {
      if (const CoverageRange* part = range_at(k)) {
        for (std::uint64_t at = balance.range.begin; at < balance.range.end; ++at) {
          const std::uint64_t named = at ^ mirror;  // the address for which this byte is read
          if (part->place.memory != balance.memory || !part->place.range.contains(named)) continue;
          ++times[static_cast<std::size_t>(at - balance.range.begin)];
          positions.at.push_back(positions.length + (named - part->place.range.begin));
          positions.known = positions.known && positions.length_known;
        }
        positions.length += part->place.range.size();
      } else if (table_at(k) != nullptr) {
        positions.length_known = false;
      } else {
        positions.length += std::get<CoverageLiteral>(checksum_.coverage[k]).bytes->size();
      }
    }
    const bool may_be_in_table = table_into(balance.memory);
    for (std::size_t i = 0; i < balance.range.size(); ++i) {
      if (times[i] == 1) continue;
      positions.known = false;
      if (times[i] == 0 && may_be_in_table) continue;
      contradict(*origin_.balance,
                 "the balance's byte at " + address_text(balance.range.begin + i) + " is read " +
                     std::to_string(times[i]) + " times",
                 "every byte of the balance read exactly once", "correct the balance, or the coverage");
      return std::nullopt;
    }
    std::sort(positions.at.begin(), positions.at.end());
    return positions;
  }

  void judge_balance(const Place& balance) {
    const auto positions = find_positions(balance);
    if (!positions) return;
    for (const Substitute& substitute : checksum_.substitutes) {
      if (substitute.place.memory != balance.memory || !substitute.place.range.overlaps(balance.range))
        continue;
      contradict(*origin_.balance,
                 "a balance at " + place_text(draft_.map, balance) + " that counts as a constant",
                 "a balance that no substitute touches", "correct the balance, or the substitute");
      return;
    }
    const std::uint64_t size = balance.range.size();
    if (positions->known && positions->at.back() - positions->at.front() != size - 1) {
      give_up("a balance whose bytes stand apart in the message", "bytes that are read one after another");
      return;
    }
    switch (checksum_.algorithm.kind) {
      case AlgorithmKind::kSum:
        judge_sum(*positions, size);
        return;
      case AlgorithmKind::kCrc:
        judge_crc(*positions, size);
        return;
      default:
        give_up("a balance for " + checksum_.algorithm.name, "a CRC or a sum: only these can be solved");
        return;
    }
  }

  void judge_sum(const Positions& positions, std::uint64_t size) {
    const SumParameters& sum = checksum_.algorithm.sum;
    const auto unit = static_cast<std::uint64_t>(sum.unit) / 8;
    if (size != unit) {
      give_up("a balance of " + std::to_string(size) + " bytes for words of " + std::to_string(unit),
              "a balance of one word");
      return;
    }
    if (positions.known && positions.at.front() % unit != 0) {
      give_up("a balance at byte " + std::to_string(positions.at.front()) + " of the message",
              "a balance that is one whole word: at a multiple of " + std::to_string(unit));
      return;
    }
    // The balance is added zero-extended, so it moves the low `unit` bits to any value and those above to
    // none.
    if (checksum_.bits > sum.unit) {
      give_up("a result of " + std::to_string(checksum_.bits) + " bits and a balance of " +
                  std::to_string(sum.unit),
              "no more bits kept than one word has");
      return;
    }
    if (sum.operation != SumOperation::kAddEndAround) return;
    // The carry folds at the accumulator's width, so only there does the low part alone decide.
    if (sum.accumulator != sum.unit || checksum_.bits != sum.unit) {
      give_up("a one's complement sum of " + std::to_string(sum.unit) + "-bit words, kept in " +
                  std::to_string(sum.accumulator) + " bits and cut to " + std::to_string(checksum_.bits),
              "accumulator and result as wide as the words");
      return;
    }
    // One's complement addition reaches zero from zeros alone: the sum of anything else ends at all ones.
    if (wanted_sum() == 0) {
      give_up("a rule that needs the one's complement sum 0",
              "a rule that needs another sum, such as all ones");
    }
  }

  // The sum's low bits that give `equals`.
  std::uint64_t wanted_sum() const {
    const int bits = checksum_.bits;
    const std::uint64_t before_add = (checksum_.rule->equals - checksum_.add) & low_mask(bits);
    if (checksum_.complement == Complement::kOnes) return ones_complement(before_add, bits);
    if (checksum_.complement == Complement::kTwos) return twos_complement(before_add, bits);
    return before_add;
  }

  void judge_crc(const Positions& positions, std::uint64_t size) {
    const CrcParameters& parameters = checksum_.algorithm.crc;
    if (8 * size < static_cast<std::uint64_t>(checksum_.bits)) {
      give_up("a balance of " + std::to_string(8 * size) + " bits",
              "at least the " + std::to_string(checksum_.bits) + " bits kept");
      return;
    }
    // As many adjacent bits as the CRC is wide reach every value, because the polynomial is odd. Fewer may
    // still reach every value of the bits kept; that depends on where they stand.
    if (8 * size >= static_cast<std::uint64_t>(parameters.width) || !positions.known ||
        !positions.length_known)
      return;
    if (reached_bits(Crc(parameters), positions) == checksum_.bits) return;
    give_up(
        "a balance of " + std::to_string(8 * size) + " bits that does not reach every value of the bits kept",
        "a balance as wide as the CRC, " + std::to_string(parameters.width) + " bits");
  }

  // Rank of the balance's effect on the bits kept.
  int reached_bits(const Crc& crc, const Positions& positions) const {
    std::vector<std::uint64_t> basis;
    for (const std::uint64_t at : positions.at) {
      for (std::uint64_t effect : crc.byte_effects(crc.shift(1, positions.length - 1 - at))) {
        effect &= low_mask(checksum_.bits);
        for (const std::uint64_t known : basis) effect = std::min(effect, effect ^ known);
        if (effect != 0) basis.push_back(effect);
      }
    }
    return static_cast<int>(basis.size());
  }

  Draft& draft_;
  const Checksum& checksum_;
  const ChecksumOrigin& origin_;
};

}  // namespace

void lint_checksums(Draft& draft) {
  for (std::size_t i = 0; i < draft.map.checksums.size() && !draft.fault(); ++i) {
    Judgement(draft, i).run(draft.checksum_bytes);
  }
}

}  // namespace calseal::region_map_draft
