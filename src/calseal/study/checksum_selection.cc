// The code by which finds are priced. A find that takes L bits to describe and agrees in E bits happens by
// chance with a probability of at most 2^(L - E) anywhere among all finds described that shortly, because the
// sum of 2^-L over all descriptions is at most 1 (Kraft's inequality, and the sum bounds the union).
#include "calseal/study/checksum_selection.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "calseal/base/range_set.h"

namespace calseal {
namespace {

constexpr std::uint64_t kNear = 64;  // bytes between slots that stand together
constexpr std::uint64_t kEraseSector = 4096;
constexpr double kNearCost = 6;  // bits: which neighbour, on which side, how far
constexpr std::size_t kLoneBytes = 16;
constexpr double kDoubt = 6;       // bits: a rule is rather believed
constexpr double kAlsoWithin = 6;  // bits by which another reading of one slot may be worse
constexpr std::size_t kUncertainShown = 8;
constexpr double kMemberNeeded = 6;        // bits that each of a group adds
constexpr std::size_t kMostChained = 300;  // hits of one kind that a chain is looked for among
constexpr std::size_t kMostPriced = 4000;  // a hit past them counts for nothing

using Convention = std::tuple<std::size_t, Layout, Storage>;
Convention convention_of(const Hit& hit) { return {hit.algorithm, hit.layout, hit.storage}; }

// All that one equation is about: what is covered, and the slot where it lies inside or beside, with what is
// left out between.
Range hull_of(const Hit& hit) {
  Range hull = hit.coverage;
  const Range slot = hit.slot_range();
  if (hit.has_slot() && slot.begin <= hull.end + kLoneBytes && hull.begin <= slot.end + kLoneBytes)
    hull = {std::min(hull.begin, slot.begin), std::max(hull.end, slot.end)};
  return hull;
}

// Over the same bytes all sums follow from each other, and so do the CRCs of one polynomial.
bool is_akin(const Hit& a, const Hit& b) {
  const Algorithm& one = search_algorithms()[a.algorithm].algorithm;
  const Algorithm& other = search_algorithms()[b.algorithm].algorithm;
  if (one.kind != other.kind) return false;
  return one.kind != AlgorithmKind::kCrc ||
         (one.crc.poly == other.crc.poly && one.crc.width == other.crc.width &&
          one.crc.refin == other.crc.refin);
}

// Whether `edge` is one of `reached`, or nothing but unused space lies between.
bool joined(ByteView image, const std::set<std::uint64_t>& reached, std::uint64_t edge) {
  return std::ranges::any_of(reached, [&](std::uint64_t at) {
    const std::uint64_t low = std::min(at, edge), high = std::max(at, edge);
    if (low == high) return true;
    const ByteView between =
        image.subspan(static_cast<std::size_t>(low), static_cast<std::size_t>(high - low));
    // A lone slot in it does not count: with its complement beside it, it is nothing to an exclusive or.
    const auto others = static_cast<std::size_t>(
        std::ranges::count_if(between, [&](std::uint8_t byte) { return byte != between.front(); }));
    return others == 0 || (others <= kLoneBytes && others * 64 <= between.size());
  });
}

// The same value over the same bytes at another place.
bool is_second_slot(const Hit& one, const Hit& hit) {
  const auto outside = [](const Hit& h) { return h.has_slot() && !h.coverage.overlaps(h.slot_range()); };
  return one.algorithm == hit.algorithm && one.coverage == hit.coverage && outside(one) && outside(hit);
}

bool better(double worth_a, const Hit& a, double worth_b, const Hit& b) {
  if (std::abs(worth_a - worth_b) > 0.01) return worth_a > worth_b;
  return a.coverage.size() < b.coverage.size();
}

// The same bytes once more agree once more: that says nothing new.
bool is_copy_of(ByteView image, const Hit& a, const Hit& b) {
  const auto part = [&](Range range) {
    return image.subspan(static_cast<std::size_t>(range.begin), static_cast<std::size_t>(range.size()));
  };
  return a.coverage.size() == b.coverage.size() && std::ranges::equal(part(a.coverage), part(b.coverage));
}

// What the image's own bytes leave of the hits' evidence; asked for only where it decides something, since it
// takes a millisecond.
class LazyPrices {
 public:
  explicit LazyPrices(Agreements& agreements) : all_(agreements), priced_(agreements.hits.size(), false) {}

  void price(std::size_t i) {
    if (priced_[i]) return;
    priced_[i] = true;
    Hit& hit = all_.hits[i];
    if (search_algorithms()[hit.algorithm].algorithm.kind != AlgorithmKind::kSum) return;
    const double most = ++asked_ > kMostPriced ? 0 : all_.prices->bits(hit);
    hit.evidence =
        std::min(hit.evidence, most * (hit.layout.pair != 0 ? 2 : 1) * static_cast<double>(hit.support));
  }

 private:
  Agreements& all_;
  std::vector<bool> priced_;
  std::size_t asked_ = 0;
};

class Selection {
 public:
  Selection(Agreements& agreements, SearchOutcome& outcome)
      : all_(agreements),
        outcome_(outcome),
        taken_(agreements.hits.size(), false),
        out_(taken_),
        judged_(taken_.size(), 0),
        priced_(agreements) {}

  void run() {
    for (const Hit& hit : all_.hits) hulls_.push_back(trimmed(hull_of(hit)));
    mark_composed();
    while (take_single() || take_group()) {
    }
    add_uncertain();
    add_alternatives();
    sort_by_place(outcome_.found);
    keep_used_tables();
  }

 private:
  ByteView image() const { return all_.search->images.front(); }
  std::size_t point_of(std::uint64_t offset) const {
    return static_cast<std::size_t>((offset + all_.grid.step - 1) / all_.grid.step);
  }

  // Tables are ranked; those that finds stand in are known.
  double table_cost(std::size_t table) const {
    const auto count = static_cast<double>(all_.tables.size());
    double share = 0.5 / count + 0.5 / (static_cast<double>(table + 1) * (1 + std::log(count)));
    if (!tables_.empty()) share /= 2;
    if (tables_.contains(table)) share += 0.5 / static_cast<double>(tables_.size());
    return -std::log2(share);
  }

  // Of all ranges: from tables, by edges that show, or by edges that finds have; the shares sum to at most 1.
  double range_cost(const Hit& hit) const {
    if (hit.from_table) return 1 + table_cost(hit.table);
    const std::size_t begin = point_of(hit.range.begin), end = point_of(hit.range.end);
    const double shown = std::exp2(-all_.edges->range_cost(begin, end));
    const double no_table = all_.tables.empty() ? 0 : 1;
    if (edges_.empty()) return no_table - std::log2(shown);
    const auto known = static_cast<double>(edges_.size());
    double begins = 0.5 * std::exp2(-all_.edges->begin_cost(begin));
    if (edges_.contains(hit.range.begin))
      begins += 0.5 / known * std::exp2(-all_.edges->blank_begin_cost(begin));
    double ends = 0.4 * std::exp2(-all_.edges->end_cost(begin, end));
    if (edges_.contains(hit.range.end)) {
      ends += 0.2 / known;
      const auto next = edges_.upper_bound(hit.range.begin);
      if (next != edges_.end() && *next == hit.range.end) ends += 0.4;
    }
    return no_table - std::log2(0.5 * shown + 0.5 * begins * ends);
  }

  double slot_cost(const Hit& hit) const {
    if (hit.layout.anchor != Layout::Anchor::kFree) return 0;
    const auto raster = static_cast<double>(std::min<std::size_t>(hit.size(), 4));
    double anywhere = std::log2(static_cast<double>(all_.grid.size) / raster) + 1;
    // The first and the last sector are where lists of checksums are kept. (Common practice, no source.)
    if (hit.slot < kEraseSector || hit.slot + kEraseSector >= all_.grid.size)
      anywhere = std::log2(2 * kEraseSector / raster) + 1.5;
    const Range around{hit.slot - std::min(hit.slot, kNear), hit.slot + hit.size() + kNear};
    return slots_.overlaps(around) ? std::min(anywhere, kNearCost) : anywhere;
  }

  // A convention of a find, the algorithm of one with another layout, or a new one.
  double convention_cost(const Hit& hit) const {
    const double own = layout_cost(hit.layout, hit.size()) + storage_cost(hit.storage);
    double share = std::exp2(-search_algorithms()[hit.algorithm].cost - own);
    if (algorithms_.empty()) return -std::log2(share);
    share /= 2;
    if (algorithms_.contains(hit.algorithm))
      share += 0.25 * std::exp2(-own) / static_cast<double>(algorithms_.size());
    if (conventions_.contains(convention_of(hit))) share += 0.25 / static_cast<double>(conventions_.size());
    return -std::log2(share);
  }

  // Where the slot is, of a sum that only says what all words give together, must show: behind padding it
  // does.
  double doubt_cost(const Hit& hit) const {
    if (!says_only_balance(hit)) return 0;
    const bool at_end = hit.layout.anchor == Layout::Anchor::kEnd && hit.layout.slot < 0;
    return at_end && all_.edges->is_lone(point_of(hit.range.end)) ? 0 : kDoubt;
  }

  double priced_worth(std::size_t i) {
    priced_.price(i);
    return worth(all_.hits[i]);
  }

  double worth(const Hit& hit) const {
    return hit.evidence - range_cost(hit) - slot_cost(hit) - convention_cost(hit) - doubt_cost(hit);
  }

  // Something found before already says so, or stands there. What is out stays out.
  bool is_out(std::size_t i) {
    if (!out_[i] && judged_[i] != outcome_.found.size() + 1) {
      out_[i] = taken_[i] || composed_[i] || is_said(all_.hits[i], hulls_[i]);
      judged_[i] = outcome_.found.size() + 1;
    }
    return out_[i] || taken_[i];
  }

  bool is_said(const Hit& hit, Range hull) const {
    if (hit.has_slot() && slots_.overlaps(hit.slot_range())) return true;
    const bool said = std::ranges::any_of(outcome_.found, [&](const Candidate& one) {
      return is_akin(one.hit, hit) && is_same(hull, trimmed(hull_of(one.hit))) &&
             !is_second_slot(one.hit, hit);
    });
    return said || (gives_constant(hit) && follows(hit, hull));
  }

  // But for a trailer of one value.
  bool is_same(Range a, Range b) const {
    const std::uint64_t low = std::min(a.end, b.end), high = std::max(a.end, b.end);
    return a.begin == b.begin && high - low <= kLoneBytes && joined(image(), {low}, high);
  }

  // What is constant from a to b and from b to c is constant from a to c: a hit between two edges that finds
  // of its kind connect says nothing new. Unused space connects its ends.
  bool follows(const Hit& hit, Range hull) const {
    std::vector<Range> links;
    for (const Candidate& one : outcome_.found) {
      if (gives_constant(one.hit) && is_akin(one.hit, hit)) links.push_back(trimmed(hull_of(one.hit)));
    }
    if (links.empty()) return false;
    std::set<std::uint64_t> reached = {hull.begin};
    for (bool more = true; more;) {
      more = false;
      for (const Range& link : links) {
        if (joined(image(), reached, link.begin) != joined(image(), reached, link.end)) {
          reached.insert({link.begin, link.end});
          more = true;
        }
      }
    }
    return joined(image(), reached, hull.end);
  }

  // A range that gives a constant, made up of two that do: the sections are meant, not what they make up
  // together. One of them must stand by itself, since any range can be cut in two by chance.
  void mark_composed() {
    struct Piece {
      Range hull;
      std::size_t index;
    };
    std::map<std::size_t, std::vector<Piece>> by_algorithm;
    for (std::size_t i = 0; i < all_.hits.size(); ++i) {
      const Hit& hit = all_.hits[i];
      if (!hit.from_table && gives_constant(hit)) by_algorithm[hit.algorithm].push_back({hulls_[i], i});
    }
    composed_.assign(all_.hits.size(), false);
    for (const auto& [algorithm, pieces] : by_algorithm) {
      std::map<Range, double> worths;  // the best reading of each range
      std::map<std::uint64_t, std::set<Range>> by_begin;
      for (const Piece& piece : pieces) {
        const double now = worth(all_.hits[piece.index]);
        const auto [it, fresh] = worths.try_emplace(piece.hull, now);
        if (!fresh) it->second = std::max(it->second, now);
        by_begin[piece.hull.begin].insert(piece.hull);
      }
      for (const Piece& piece : pieces) {
        for (const Range& first : by_begin[piece.hull.begin]) {
          if (first.end >= piece.hull.end) break;
          const auto second = worths.find({next_used(first.end), piece.hull.end});
          if (second == worths.end() || std::max(worths[first], second->second) < kSearchNeeded) continue;
          composed_[piece.index] = true;
        }
      }
    }
  }

  // Where the content goes on, from a point of the grid.
  std::uint64_t next_used(std::uint64_t offset) const {
    auto point = static_cast<std::size_t>(offset / all_.grid.step);
    if (offset % all_.grid.step != 0) return offset;
    while (point + 1 < all_.grid.count() && all_.edges->is_blank(point)) ++point;
    return all_.grid.at(point);
  }

  // Without the unused sectors at either end: to many algorithms they are nothing.
  Range trimmed(Range hull) const {
    std::size_t first = static_cast<std::size_t>(hull.begin / all_.grid.step), last = point_of(hull.end);
    while (first + 1 < last && all_.edges->is_blank(first)) hull.begin = all_.grid.at(++first);
    while (last > first + 1 && all_.edges->is_blank(last - 1)) hull.end = all_.grid.at(--last);
    return hull;
  }

  bool take_single() {
    using Ranked = std::pair<double, std::size_t>;
    const auto worse = [&](const Ranked& a, const Ranked& b) {
      return better(b.first, all_.hits[b.second], a.first, all_.hits[a.second]);
    };
    std::vector<Ranked> heap;
    for (std::size_t i = 0; i < all_.hits.size(); ++i) {
      if (all_.hits[i].evidence < kSearchNeeded || is_out(i)) continue;
      const double now = worth(all_.hits[i]);
      if (now >= kSearchNeeded) heap.emplace_back(now, i);
    }
    std::ranges::make_heap(heap, worse);
    while (!heap.empty()) {
      std::ranges::pop_heap(heap, worse);
      const auto [most, best] = heap.back();
      heap.pop_back();
      // A price can only go down: what is best when priced is best.
      const double now = priced_worth(best);
      if (now < kSearchNeeded) continue;
      if (now >= most) {
        take(best, now, std::exp2(-now));
        return true;
      }
      heap.emplace_back(now, best);
      std::ranges::push_heap(heap, worse);
    }
    return false;
  }

  // The members that pay for themselves, once the convention is paid.
  struct Group {
    std::vector<std::size_t> members;
    double worth = 0;
  };

  Group judge(const std::vector<std::size_t>& members) const {
    Group group;
    std::vector<std::pair<double, std::size_t>> ranked;
    for (const std::size_t i : members) {
      const Hit& hit = all_.hits[i];
      ranked.emplace_back(hit.evidence - range_cost(hit) - doubt_cost(hit) - 1, i);
    }
    std::ranges::sort(ranked, std::ranges::greater());
    RangeSet slots;
    std::set<std::uint64_t> edges;
    bool table_paid = false;
    for (const auto& [value, i] : ranked) {
      const Hit& hit = all_.hits[i];
      if (hit.has_slot() && slots.overlaps(hit.slot_range())) continue;
      const Range& hull = hulls_[i];
      const bool same = std::ranges::any_of(group.members, [&](std::size_t m) {
        const Range& other = hulls_[m];
        return (gives_constant(hit) ? hull.overlaps(other) : hull == other) ||
               is_copy_of(image(), hit, all_.hits[m]);
      });
      if (same) continue;
      double net = value;
      if (hit.from_table && table_paid && !tables_.contains(hit.table)) net += table_cost(hit.table);
      if (!group.members.empty()) {
        // Neighbours share an edge.
        if (!hit.from_table && (edges.contains(hit.range.begin) || edges.contains(hit.range.end))) net += 2;
        if (hit.layout.anchor == Layout::Anchor::kFree) net -= kNearCost;
      } else {
        net -= slot_cost(hit);
      }
      if (net < (group.members.empty() ? 1 : kMemberNeeded)) continue;
      table_paid = table_paid || hit.from_table;
      group.members.push_back(i);
      group.worth += net;
      slots.add(hit.slot_range());
      edges.insert(hit.range.begin);
      edges.insert(hit.range.end);
    }
    if (!group.members.empty()) group.worth -= convention_cost(all_.hits[group.members.front()]);
    return group;
  }

  // Without the begin: what a hit has to say once a chain leads to it.
  double chained_worth(const Hit& hit) const {
    return hit.evidence - all_.edges->end_cost(point_of(hit.range.begin), point_of(hit.range.end)) -
           doubt_cost(hit) - 1;
  }

  // Checksums of one algorithm, stored alike, one range behind the other: each range is told from where the
  // one before it ended, which is cheaper than among all edges, and each layout by whether it is that of the
  // one before. The worthiest chain; O(members^2).
  Group judge_chain(std::vector<std::size_t> members) const {
    std::ranges::sort(members, {}, [&](std::size_t i) {
      return std::pair(all_.hits[i].range.begin, all_.hits[i].range.end);
    });
    std::vector<double> best(members.size(), 0);
    std::vector<std::size_t> before(members.size(), members.size());
    std::size_t last = members.size();
    for (std::size_t i = 0; i < members.size(); ++i) {
      const Hit& hit = all_.hits[members[i]];
      const std::size_t begin = point_of(hit.range.begin);
      const double own = chained_worth(hit);
      best[i] = own - all_.edges->begin_cost(begin) - convention_cost(hit) - 1;
      for (std::size_t m = 0; m < i; ++m) {
        const Hit& other = all_.hits[members[m]];
        if (other.range.end > hit.range.begin) continue;
        if (hit.slot_range().overlaps(other.slot_range()) || is_copy_of(image(), hit, other)) continue;
        const double net = own - all_.edges->next_begin_cost(point_of(other.range.end), begin) -
                           (hit.layout == other.layout ? 1 : 1 + layout_cost(hit.layout, hit.size()));
        if (net < kMemberNeeded || best[m] + net <= best[i]) continue;
        best[i] = best[m] + net;
        before[i] = m;
      }
      if (last == members.size() || best[i] > best[last]) last = i;
    }
    Group group;
    for (std::size_t i = last; i < members.size(); i = before[i]) group.members.push_back(members[i]);
    if (!group.members.empty()) group.worth = best[last];
    return group;
  }

  bool take_group() {
    // Free slots form a group where they stand together; records where they are of one table.
    std::map<std::tuple<Convention, std::size_t>, std::vector<std::size_t>> groups;
    std::map<Convention, std::vector<std::size_t>> free;
    std::map<std::pair<std::size_t, Storage>, std::vector<std::size_t>> chains;
    for (std::size_t i = 0; i < all_.hits.size(); ++i) {
      const Hit& hit = all_.hits[i];
      if (hit.evidence < kMemberNeeded || is_out(i) || hit.evidence - range_cost(hit) < 0) continue;
      priced_.price(i);
      if (hit.evidence < kMemberNeeded) continue;
      if (!hit.from_table && hit.has_slot() && hit.layout.anchor != Layout::Anchor::kFree &&
          chained_worth(hit) > kMemberNeeded + 2)
        chains[{hit.algorithm, hit.storage}].push_back(i);
      if (hit.evidence - range_cost(hit) < 0) continue;
      if (hit.layout.anchor == Layout::Anchor::kFree) {
        free[convention_of(hit)].push_back(i);
      } else {
        groups[{convention_of(hit), hit.from_table ? hit.table + 1 : 0}].push_back(i);
      }
    }
    Group best;
    const auto consider = [&](const std::vector<std::size_t>& members) {
      if (members.size() < 2) return;
      Group group = judge(members);
      if (group.members.size() >= 2 && group.worth > best.worth) best = std::move(group);
    };
    for (const auto& [key, members] : groups) consider(members);
    for (auto& [kind, members] : chains) {
      if (members.size() < 2) continue;
      if (members.size() > kMostChained) {
        const auto most = members.begin() + static_cast<std::ptrdiff_t>(kMostChained);
        std::nth_element(members.begin(), most, members.end(), [&](std::size_t a, std::size_t b) {
          return chained_worth(all_.hits[a]) > chained_worth(all_.hits[b]);
        });
        members.resize(kMostChained);
      }
      Group group = judge_chain(members);
      if (group.members.size() >= 2 && group.worth > best.worth) best = std::move(group);
    }
    for (auto& [convention, members] : free) {
      std::ranges::sort(members, {}, [&](std::size_t i) { return all_.hits[i].slot; });
      std::vector<std::size_t> cluster;
      for (const std::size_t i : members) {
        if (!cluster.empty() && all_.hits[i].slot > all_.hits[cluster.back()].slot + kNear) {
          consider(cluster);
          cluster.clear();
        }
        cluster.push_back(i);
      }
      consider(cluster);
    }
    if (best.worth < kSearchNeeded) return false;
    for (const std::size_t i : best.members) {
      if (is_out(i)) continue;
      take(i, best.worth, std::exp2(-best.worth));
    }
    return true;
  }

  void take(std::size_t i, double worth, double chance) {
    taken_[i] = true;
    const Hit& hit = all_.hits[i];
    if (hit.has_slot()) slots_.add(hit.slot_range());
    edges_.insert(hit.range.begin);
    edges_.insert(hit.range.end);
    algorithms_.insert(hit.algorithm);
    conventions_.insert(convention_of(hit));
    if (hit.from_table) tables_.insert(hit.table);
    // The same value over the same bytes at a second place is a second slot, not a second checksum.
    for (Candidate& one : outcome_.found) {
      if (is_second_slot(one.hit, hit)) {
        one.slots.push_back(hit);
        return;
      }
    }
    Candidate candidate;
    candidate.hit = hit;
    candidate.worth = worth;
    candidate.chance = std::min(1.0, chance);
    outcome_.found.push_back(std::move(candidate));
  }

  void add_uncertain() {
    std::vector<std::pair<double, std::size_t>> rest;
    for (std::size_t i = 0; i < all_.hits.size(); ++i) {
      if (is_out(i)) continue;
      const double now = worth(all_.hits[i]);
      if (now > -3) rest.emplace_back(now, i);
    }
    std::ranges::sort(rest, [&](const auto& a, const auto& b) {
      return better(a.first, all_.hits[a.second], b.first, all_.hits[b.second]);
    });
    RangeSet slots;
    for (const auto& [most, i] : rest) {
      if (outcome_.uncertain.size() == kUncertainShown) break;
      const Hit& hit = all_.hits[i];
      if (hit.has_slot() && slots.overlaps(hit.slot_range())) continue;
      const double value = priced_worth(i);
      if (value <= -3) continue;
      slots.add(hit.slot_range());
      Candidate candidate;
      candidate.hit = hit;
      candidate.worth = value;
      candidate.chance = std::min(1.0, std::exp2(-value));
      outcome_.uncertain.push_back(std::move(candidate));
    }
  }

  void add_alternatives() {
    for (Candidate& one : outcome_.found) {
      if (!one.hit.has_slot()) continue;
      const double own = worth(one.hit);
      for (std::size_t i = 0; i < all_.hits.size(); ++i) {
        const Hit& other = all_.hits[i];
        if (taken_[i] || !other.has_slot() || other.slot != one.hit.slot ||
            other.coverage == one.hit.coverage)
          continue;
        if (worth(other) >= own - kAlsoWithin && one.also.size() < 4) one.also.push_back(other);
      }
    }
  }

  void keep_used_tables() {
    std::map<std::size_t, std::size_t> renumbered;
    const auto renumber = [&](Hit& hit) {
      if (!hit.from_table) return;
      const auto [it, fresh] = renumbered.try_emplace(hit.table, outcome_.tables.size());
      if (fresh) outcome_.tables.push_back(all_.tables[hit.table]);
      hit.table = it->second;
    };
    const auto renumber_all = [&](Candidate& one) {
      renumber(one.hit);
      for (Hit& hit : one.also) renumber(hit);
      for (Hit& hit : one.slots) renumber(hit);
    };
    for (Candidate& one : outcome_.found) renumber_all(one);
    for (Candidate& one : outcome_.uncertain) renumber_all(one);
  }

  Agreements& all_;
  SearchOutcome& outcome_;
  std::vector<bool> taken_, composed_, out_;
  std::vector<std::size_t> judged_;  // by hit: finds when it was last found not to be out, plus 1
  LazyPrices priced_;
  std::vector<Range> hulls_;  // by hit, trimmed
  RangeSet slots_;
  std::set<std::uint64_t> edges_;
  std::set<std::size_t> algorithms_, tables_;
  std::set<Convention> conventions_;
};

}  // namespace

void sort_by_place(std::vector<Candidate>& found) {
  std::ranges::stable_sort(found, {}, [](const Candidate& one) {
    return std::pair(one.hit.has_slot() ? one.hit.slot : one.hit.coverage.begin, one.hit.coverage.begin);
  });
}

void select_candidates(Agreements agreements, SearchOutcome& outcome) {
  outcome.agreements = agreements.hits.size();
  Selection(agreements, outcome).run();
}

}  // namespace calseal
