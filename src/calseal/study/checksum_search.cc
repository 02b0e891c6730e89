#include "calseal/study/checksum_search.h"

#include <algorithm>
#include <atomic>
#include <iterator>
#include <map>
#include <optional>
#include <set>
#include <system_error>
#include <thread>

#include "calseal/base/interrupt.h"
#include "calseal/base/range_set.h"
#include "calseal/study/checksum_selection.h"
#include "calseal/study/crc_start.h"
#include "calseal/study/edges.h"
#include "calseal/study/image_support.h"
#include "calseal/study/pair_scan.h"

namespace calseal {
namespace {

constexpr std::size_t kMostBegins = 1100;  // every point of 4 MiB over 4 KiB
constexpr std::size_t kMostTables = 1024;
constexpr std::size_t kMostHits = 200'000;  // of one algorithm
constexpr double kShareOfCatalogue = 0.8;   // of the whole work, with two images and more
constexpr std::uint64_t kUnusedLeast = 16;  // bytes that are no chance
constexpr int kLeastBits = 13;              // of a value, in all images together, for every range to be tried
constexpr int kLeastTableBits = 24;         // of all records of a table together

class Run {
 public:
  // `look`: the image whose edges and tables count; with `by_difference`, `search` has differences.
  Run(const ChecksumSearch& search, ByteView look, bool by_difference)
      : search_(search),
        image_(search.images.front()),
        grid_{search.grid, image_.size()},
        edges_(look, grid_),
        evidence_(image_),
        words_(image_),
        hits_(search_algorithms().size()) {
    if (search.images.size() > 1) pairs_.emplace(search.images[0], search.images[1]);
    if (search.computation) likely_ = likely_ranges(edges_, grid_, search.images.size());
    if (search.tables) tables_ = find_tables({look, search.origins}, kMostTables);
    // A lone record fits too easily where images agree at the range's begin.
    if (by_difference)
      std::erase_if(tables_, [](const TableFound& table) { return table.ranges.size() < 2; });
    for (std::size_t t = 0; t < tables_.size(); ++t) {
      for (std::size_t r = 0; r < tables_[t].ranges.size(); ++r)
        records_[tables_[t].ranges[r]].push_back({t, r});
    }
    for (std::size_t i = 0; i < search_algorithms().size(); ++i) {
      if (search_algorithms()[i].by_difference == by_difference) algorithms_.push_back(i);
    }
  }

  SearchOutcome run() {
    std::thread second;
    try {
      second = start_thread([this] { work(false); });
    } catch (const std::system_error&) {
      // No thread to be had: this one does it all.
    }
    work(true);
    if (second.joinable()) second.join();
    SearchOutcome outcome;
    outcome.algorithms = algorithms_.size();
    outcome.algorithms_tried = done_;
    Agreements agreements;
    agreements.search = &search_;
    agreements.edges = &edges_;
    agreements.grid = grid_;
    WindowPrices prices(image_, grid_);
    agreements.prices = &prices;
    for (std::vector<Hit>& hits : hits_) {
      for (Hit& hit : hits) agreements.hits.push_back(hit);
      hits = {};
    }
    agreements.tables = tables_;
    select_candidates(std::move(agreements), outcome);
    for (Candidate& one : outcome.found) {
      reach_over_unused(one);
      one.images = distinct(one.hit);
    }
    return outcome;
  }

 private:
  struct Record {
    std::size_t table = 0, index = 0;
  };

  // The first thread tells how far it is; whoever asked may stop both.
  void work(bool tells) {
    for (std::size_t i = next_++; i < algorithms_.size(); i = next_++) {
      if (stop_) return;
      try_algorithm(algorithms_[i]);
      ++done_;
      if (tells && search_.progress &&
          !search_.progress(static_cast<double>(done_) / static_cast<double>(algorithms_.size())))
        stop_ = true;
    }
  }

  void try_algorithm(std::size_t index) {
    const SearchAlgorithm& algorithm = search_algorithms()[index];
    std::vector<RangeValues> values;
    for (const ByteView image : search_.images) values.emplace_back(algorithm, image, grid_);
    std::vector<Hit>& hits = hits_[index];
    const PairScan scan{&search_.images, grid_,   &edges_, &words_, pairs_ ? &*pairs_ : nullptr,
                        kMostBegins,     &likely_};
    const bool enough = algorithm.bits * static_cast<int>(search_.images.size()) >= kLeastBits;
    if (search_.computation && enough) scan_pairs(scan, index, values, hits);
    if (hits.size() > kMostHits) hits.resize(kMostHits);
    if (search_.tables) scan_records(index, values, hits);
    for (Hit& hit : hits) {
      const std::uint64_t stored =
          hit.has_slot()
              ? stored_at(image_, hit.slot, algorithm, {hit.storage.order, SlotTransform::kPlain}).value
              : 0;
      hit.support = distinct(hit);
      hit.evidence = evidence_.of(algorithm, hit, stored) * static_cast<double>(hit.support);
    }
    std::erase_if(hits, [&](const Hit& hit) {
      return hit.evidence < kSearchNeeded || holds_without_unused(values.front(), hit) ||
             skips_only_blank(hit) || is_blank_reading(hit) || is_no_slot(hit);
    });
  }

  // Unused sectors at the end of a range that change nothing are not taken in: the shorter range is a hit
  // too.
  bool holds_without_unused(const RangeValues& values, const Hit& hit) const {
    if (hit.from_table) return false;
    auto first = static_cast<std::size_t>(hit.range.begin / grid_.step);
    auto last = static_cast<std::size_t>((hit.range.end + grid_.step - 1) / grid_.step);
    while (first + 1 < last && edges_.is_blank(first)) ++first;
    while (last > first + 1 && edges_.is_blank(last - 1)) --last;
    const Range used{grid_.at(first), grid_.at(last)};
    if (used == hit.range) return false;
    Hit shorter = hit;
    if (hit.layout.anchor == Layout::Anchor::kStart && used.begin != hit.range.begin) return false;
    if (hit.layout.anchor == Layout::Anchor::kEnd && used.end != hit.range.end) return false;
    shorter.range = used;
    shorter.coverage = {used.begin + hit.layout.skip_begin, used.end - hit.layout.skip_end};
    return shorter.coverage.begin + 32 < shorter.coverage.end && holds_in(values, image_, shorter);
  }

  // A sum that leaves out a few bytes of 00 beside its slot might as well not: then that is a hit too. So is,
  // of an exclusive or, the complement of one that does not leave out bytes of ff.
  bool skips_only_blank(const Hit& hit) const {
    const bool plain = hit.layout.own == Layout::Own::kOutside && hit.layout.pair == 0 && hit.has_slot() &&
                       !hit.from_table && hit.layout.anchor != Layout::Anchor::kFree;
    if (!plain || search_algorithms()[hit.algorithm].algorithm.kind != AlgorithmKind::kSum) return false;
    const Range slot = hit.slot_range();
    const Range left_out = slot.begin > hit.coverage.end   ? Range{hit.coverage.end, slot.begin}
                           : slot.end < hit.coverage.begin ? Range{slot.end, hit.coverage.begin}
                                                           : Range{0, 0};
    const ByteView skipped =
        image_.subspan(static_cast<std::size_t>(left_out.begin), static_cast<std::size_t>(left_out.size()));
    const auto all_are = [&](std::uint8_t value) {
      return std::ranges::all_of(skipped, [&](std::uint8_t byte) { return byte == value; });
    };
    const SumParameters& sum = search_algorithms()[hit.algorithm].algorithm.sum;
    if (skipped.empty() || !(all_are(0x00) || (sum.operation == SumOperation::kXor && all_are(0xff))))
      return false;
    Layout layout = hit.layout;
    (layout.anchor == Layout::Anchor::kEnd ? layout.skip_end : layout.skip_begin) -= left_out.size();
    const std::vector<Layout> all = layouts_of(search_algorithms()[hit.algorithm], layout.anchor);
    return std::ranges::find(all, layout) != all.end();
  }

  // Readings of a sum that unused space, or a value that is the same in both byte orders, makes possible
  // beside the plain one: from an unused sector on, up to an unused stretch that ends in the slot, in the
  // other order.
  bool is_blank_reading(const Hit& hit) const {
    const Algorithm& algorithm = search_algorithms()[hit.algorithm].algorithm;
    if (hit.from_table || algorithm.kind != AlgorithmKind::kSum) return false;
    if (hit.range.begin != 0 && hit.layout.anchor != Layout::Anchor::kStart &&
        edges_.is_blank(static_cast<std::size_t>(hit.range.begin / grid_.step)))
      return true;
    if (!hit.has_slot()) return false;
    const std::size_t slot = static_cast<std::size_t>(hit.slot),
                      end = static_cast<std::size_t>(hit.coverage.end);
    if (hit.layout.anchor == Layout::Anchor::kFree && slot > end && slot - end < 2 * grid_.step &&
        std::all_of(image_.begin() + static_cast<std::ptrdiff_t>(end),
                    image_.begin() + static_cast<std::ptrdiff_t>(slot),
                    [&](std::uint8_t byte) { return byte == image_[end]; }))
      return true;
    const ByteView stored = image_.subspan(slot, hit.size());
    return hit.size() > 1 && hit.storage.order != algorithm.sum.order &&
           std::equal(stored.begin(), stored.end(), std::make_reverse_iterator(stored.end()));
  }

  bool holds_in_all(const Hit& hit) const {
    const SearchAlgorithm& algorithm = search_algorithms()[hit.algorithm];
    return std::ranges::all_of(search_.images, [&](ByteView image) {
      return holds_in(RangeValues(algorithm, image, grid_), image, hit);
    });
  }

  // A sum does not see unused space of 00, nor an exclusive or most of any: where its range ends, the bytes
  // do not say. Sections mostly go on to where the next begins (common practice, no source).
  void reach_over_unused(Candidate& one) const {
    Hit& hit = one.hit;
    one.least_end = hit.coverage.end;
    const bool open = hit.layout.anchor != Layout::Anchor::kEnd && hit.layout.skip_end == 0;
    if (hit.from_table || !open || hit.range.end != hit.coverage.end) return;
    const SearchAlgorithm& algorithm = search_algorithms()[hit.algorithm];
    if (algorithm.algorithm.kind != AlgorithmKind::kSum) return;
    Hit other = hit;
    const auto last = static_cast<std::size_t>(hit.range.end - 1);
    std::uint64_t unused = last;
    while (unused > hit.coverage.begin && image_[static_cast<std::size_t>(unused - 1)] == image_[last])
      --unused;
    unused = (unused + algorithm.unit - 1) / algorithm.unit * algorithm.unit;
    // An exclusive or needs an even number of words that are not 00.
    for (const std::uint64_t end : {unused, unused + algorithm.unit}) {
      other.range.end = other.coverage.end = end;
      if (end >= hit.range.end || end <= hit.coverage.begin + 32 || !holds_in_all(other)) continue;
      one.least_end = end;
      break;
    }
    // Content that goes up to the edge ends there.
    if (hit.range.end % grid_.step != 0 || one.least_end + kUnusedLeast > hit.range.end) return;
    auto point = static_cast<std::size_t>(hit.range.end / grid_.step);
    while (point + 1 < grid_.count() && edges_.is_blank(point)) ++point;
    other.range.end = other.coverage.end = grid_.at(point);
    if (other.range == hit.range) return;
    if (hit.layout.own == Layout::Own::kOutside && hit.has_slot() &&
        other.coverage.overlaps(hit.slot_range()))
      return;
    if (holds_in_all(other)) hit = other;
  }

  std::size_t distinct(const Hit& hit) const { return supporting_images(search_.images, hit, grid_.step); }

  // A slot that stays while what it covers changes.
  bool is_no_slot(const Hit& hit) const {
    return hit.has_slot() && coverage_varies(search_.images, hit) && !slot_varies(search_.images, hit);
  }

  void scan_records(std::size_t index, const std::vector<RangeValues>& values, std::vector<Hit>& hits) const {
    const SearchAlgorithm& algorithm = search_algorithms()[index];
    const ValueGroup& group = values.front().group();
    const std::vector<Storage> storages = storages_of(algorithm);
    std::vector<Layout> beside;
    for (const Layout& layout : layouts_of(algorithm, Layout::Anchor::kEnd)) {
      if (layout.pair == 0 && layout_cost(layout, algorithm.size) < 5) beside.push_back(layout);
    }
    for (const auto& [range, records] : records_) {
      if (range.begin % algorithm.unit != 0) continue;
      const std::uint64_t value = group.normal(values.front().value(range));
      for (const Record& record : records) {
        const TableFound& table = tables_[record.table];
        if (algorithm.bits * static_cast<int>(table.ranges.size() * search_.images.size()) <
                kLeastTableBits &&
            algorithm.bits < 16)
          continue;
        const std::uint64_t at = table.at + record.index * table.stride;
        for (const std::int64_t offset : record_offsets(table, algorithm.size)) {
          const std::int64_t slot = static_cast<std::int64_t>(at) + offset;
          if (slot < 0 || static_cast<std::uint64_t>(slot) + algorithm.size > image_.size()) continue;
          for (const Storage& storage : storages) {
            const Stored stored = stored_at(image_, static_cast<std::uint64_t>(slot), algorithm, storage);
            if (!stored.fits || stored.blank || group.normal(stored.value) != value) continue;
            Layout layout;
            layout.anchor = Layout::Anchor::kRecord;
            layout.slot = offset;
            if (!algorithm.by_difference)
              layout.pair = twin_of(image_, static_cast<std::uint64_t>(slot), algorithm, storage);
            keep(index, layout, storage, range, static_cast<std::uint64_t>(slot), record.table, values, hits);
          }
        }
      }
      for (const Layout& layout : beside) {
        const std::int64_t slot = static_cast<std::int64_t>(range.end) + layout.slot;
        if (slot < 0 || static_cast<std::uint64_t>(slot) + algorithm.size > image_.size()) continue;
        for (const Storage& storage : storages)
          keep(index, layout, storage, range, static_cast<std::uint64_t>(slot), records.front().table, values,
               hits);
      }
    }
  }

  void keep(std::size_t index, const Layout& layout, const Storage& storage, const Range& range,
            std::uint64_t slot, std::size_t table, const std::vector<RangeValues>& values,
            std::vector<Hit>& hits) const {
    Hit hit;
    hit.algorithm = index;
    hit.layout = layout;
    hit.storage = storage;
    hit.range = range;
    hit.coverage = {range.begin + layout.skip_begin, range.end - layout.skip_end};
    hit.slot = slot;
    hit.table = table;
    hit.from_table = true;
    // A value cannot stand inside what it covers as it is.
    if (layout.own == Layout::Own::kOutside && hit.coverage.overlaps(hit.slot_range())) return;
    for (std::size_t k = 0; k < search_.images.size(); ++k) {
      if (!holds_in(values[k], search_.images[k], hit)) return;
    }
    hits.push_back(hit);
  }

  const ChecksumSearch& search_;
  ByteView image_;
  Grid grid_;
  Edges edges_;
  HitEvidence evidence_;
  WordIndex words_;
  std::optional<WordIndex> pairs_;
  std::vector<std::vector<bool>> likely_;
  std::vector<TableFound> tables_;
  std::map<Range, std::vector<Record>> records_;
  std::vector<std::size_t> algorithms_;  // that are tried
  std::vector<std::vector<Hit>> hits_;   // by algorithm
  std::atomic<std::size_t> next_{0}, done_{0};
  std::atomic<bool> stop_{false};
};

// The exclusive or of the first image with each of the others.
std::vector<Bytes> differences(const std::vector<ByteView>& images) {
  std::vector<Bytes> list;
  for (std::size_t k = 1; k < images.size(); ++k) {
    Bytes difference(images.front().begin(), images.front().end());
    for (std::size_t i = 0; i < difference.size(); ++i) difference[i] ^= images[k][i];
    if (std::ranges::any_of(difference, [](std::uint8_t byte) { return byte != 0; }))
      list.push_back(std::move(difference));
  }
  return list;
}

// What the search by differences finds and the other one did not.
void add_by_difference(const ChecksumSearch& search, SearchOutcome& outcome) {
  const std::vector<Bytes> list = differences(search.images);
  if (list.empty()) return;
  ChecksumSearch changed = search;
  changed.images.assign(list.begin(), list.end());
  SearchOutcome other = Run(changed, search.images.front(), true).run();
  outcome.algorithms += other.algorithms;
  outcome.algorithms_tried += other.algorithms_tried;
  outcome.agreements += other.agreements;
  RangeSet slots;
  for (const Candidate& one : outcome.found) {
    if (one.hit.has_slot()) slots.add(one.hit.slot_range());
    for (const Hit& more : one.slots) slots.add(more.slot_range());
  }
  std::erase_if(other.found, [&](const Candidate& one) { return slots.overlaps(one.hit.slot_range()); });
  solve_starts(search.images, other.found);
  for (Candidate& one : other.found) {
    const auto renumber = [&](Hit& hit) { hit.table += hit.from_table ? outcome.tables.size() : 0; };
    renumber(one.hit);
    for (Hit& hit : one.slots) renumber(hit);
    one.also.clear();
    one.images += 1;  // of the first image nothing was counted
    outcome.found.push_back(std::move(one));
  }
  outcome.tables.insert(outcome.tables.end(), other.tables.begin(), other.tables.end());
  sort_by_place(outcome.found);
}

}  // namespace

SearchOutcome search_checksums(const ChecksumSearch& search) {
  ChecksumSearch part = search;
  const bool two = search.images.size() > 1;
  if (two && search.progress)
    part.progress = [&](double share) { return search.progress(share * kShareOfCatalogue); };
  SearchOutcome outcome = Run(part, search.images.front(), false).run();
  if (two && outcome.is_whole()) {
    if (search.progress) {
      part.progress = [&](double share) {
        return search.progress(kShareOfCatalogue + share * (1 - kShareOfCatalogue));
      };
    }
    add_by_difference(part, outcome);
  }
  for (Candidate& one : outcome.found) {
    one.slot_varies = slot_varies(search.images, one.hit);
    for (const Hit& more : one.slots) one.slot_varies = one.slot_varies && slot_varies(search.images, more);
  }
  return outcome;
}

}  // namespace calseal
