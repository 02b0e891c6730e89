#include "calseal/study/table_scan.h"

#include <algorithm>
#include <bit>
#include <map>
#include <set>
#include <tuple>

namespace calseal {
namespace {

constexpr std::uint64_t kLeastRange = 32;  // bytes
constexpr std::uint64_t kRound = 256;      // what a table of one record must be aligned to
constexpr std::uint64_t kLongestRecord = 64;
constexpr std::size_t kMostRecords = 256;
constexpr std::size_t kOriginsSuggested = 6;

// Addresses that stand for the image's begin, or a bank's.
struct Base {
  std::uint64_t address = 0;
  std::uint64_t bank_size = 0;  // 0: the whole image
};

class Finder {
 public:
  explicit Finder(const TableScan& scan)
      : scan_(scan),
        size_(scan.image.size()),
        bits_(static_cast<int>(std::bit_width(std::max<std::uint64_t>(size_ - 1, 65535)))) {}

  std::vector<TableFound> run(std::size_t most) {
    for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
      load(order);
      for (const Base& base : bases()) {
        const std::vector<std::uint32_t> starts = starts_of(base);
        for (const DescriptorTable::End end :
             {DescriptorTable::End::kLast, DescriptorTable::End::kAfter, DescriptorTable::End::kLength}) {
          for (const std::uint64_t apart : {std::uint64_t{4}, std::uint64_t{8}})
            search(order, base, end, apart, starts);
        }
      }
    }
    drop_repeated();
    std::ranges::stable_sort(found_, std::ranges::greater(), &Finder::weight);
    if (found_.size() > most) found_.resize(most);
    return std::move(found_);
  }

 private:
  void load(ByteOrder order) {
    words_.resize(static_cast<std::size_t>(size_ / 4));
    for (std::size_t i = 0; i < words_.size(); ++i) {
      const std::uint8_t* const b = scan_.image.data() + 4 * i;
      const std::uint32_t little = std::uint32_t{b[0]} | std::uint32_t{b[1]} << 8 |
                                   std::uint32_t{b[2]} << 16 | std::uint32_t{b[3]} << 24;
      words_[i] = order == ByteOrder::kLittle ? little : __builtin_bswap32(little);
    }
  }

  // The image itself, its origins as given or as many words suggest them, and its banks.
  std::vector<Base> bases() {
    std::set<std::uint64_t> origins(scan_.origins.begin(), scan_.origins.end());
    origins.insert(0);
    by_top_.clear();
    for (std::size_t i = 0; i < words_.size(); ++i) {
      const std::uint32_t word = words_[i];
      if (word != 0 && word != 0xffffffff && word % 4 == 0)
        by_top_[word >> bits_].push_back(static_cast<std::uint32_t>(i));
    }
    std::vector<std::pair<std::size_t, std::uint64_t>> ranked;
    for (const auto& [top, words] : by_top_) {
      if (top != 0 && words.size() >= 2) ranked.emplace_back(words.size(), std::uint64_t{top} << bits_);
    }
    std::ranges::sort(ranked, std::ranges::greater());
    for (std::size_t i = 0; i < ranked.size() && i < kOriginsSuggested; ++i) origins.insert(ranked[i].second);
    // Round addresses are where memories are put: few words suffice for them.
    for (const auto& [count, origin] : ranked) {
      if (origin % (std::uint64_t{1} << 24) == 0) origins.insert(origin);
    }
    std::vector<Base> list;
    for (const std::uint64_t origin : origins) list.push_back({origin, 0});
    for (std::uint64_t bank = 16384; bank * 2 <= size_; bank *= 2) list.push_back({0, bank});
    return list;
  }

  // Words that may be a start under this base: all that share its upper bits, or lie in two such groups.
  std::vector<std::uint32_t> starts_of(const Base& base) const {
    std::vector<std::uint32_t> words;
    for (std::uint64_t top = base.address >> bits_; top <= (base.address + size_ - 1) >> bits_; ++top) {
      const auto found = by_top_.find(static_cast<std::uint32_t>(top));
      if (found != by_top_.end()) words.insert(words.end(), found->second.begin(), found->second.end());
    }
    // The image's first byte has the address 0 itself, which was left out above as blank.
    if (base.address == 0) {
      for (std::size_t i = 0; i < words_.size(); ++i) {
        if (words_[i] == 0) words.push_back(static_cast<std::uint32_t>(i));
      }
    }
    std::ranges::sort(words);
    return words;
  }

  std::optional<Range> range_of(std::size_t word, const Base& base, DescriptorTable::End end,
                                std::uint64_t apart) const {
    const std::size_t second_word = word + static_cast<std::size_t>(apart / 4);
    if (second_word >= words_.size()) return std::nullopt;
    const std::uint64_t first = words_[word], second = words_[second_word];
    const std::uint64_t extent = base.bank_size == 0 ? size_ : base.bank_size;
    if (first < base.address || first - base.address >= extent || first % 4 != 0) return std::nullopt;
    const std::uint64_t begin = first - base.address;
    std::uint64_t after = 0;
    if (end == DescriptorTable::End::kLength) {
      after = begin + second;
    } else {
      if (second < base.address) return std::nullopt;
      after = second - base.address + (end == DescriptorTable::End::kLast ? 1 : 0);
    }
    if (after > extent || after < begin + kLeastRange || after % 2 != 0) return std::nullopt;
    const std::uint64_t bank = base.bank_size == 0 ? 0 : word * 4 / base.bank_size * base.bank_size;
    if (bank + after > size_) return std::nullopt;
    return Range{bank + begin, bank + after};
  }

  void search(ByteOrder order, const Base& base, DescriptorTable::End end, std::uint64_t apart,
              const std::vector<std::uint32_t>& starts) {
    std::vector<std::pair<std::size_t, Range>> plausible;
    for (const std::uint32_t word : starts) {
      if (const auto range = range_of(word, base, end, apart)) plausible.emplace_back(word, *range);
    }
    // More pairs than this is what plain data looks like, not tables.
    if (plausible.size() > words_.size() / 8 + 64) return;
    const auto at = [&](std::size_t word) -> const Range* {
      const auto it = std::ranges::lower_bound(plausible, word, {}, &std::pair<std::size_t, Range>::first);
      return it != plausible.end() && it->first == word ? &it->second : nullptr;
    };
    for (const auto& [word, range] : plausible) {
      bool any = false;
      for (std::uint64_t stride = apart + 4; stride <= kLongestRecord; stride += 4) {
        const std::size_t step = static_cast<std::size_t>(stride / 4);
        if (word >= step && at(word - step) != nullptr && !at(word - step)->overlaps(range))
          continue;  // no first record
        TableFound table;
        table.at = word * 4;
        table.stride = stride;
        table.end_at = apart;
        table.order = order;
        table.end = end;
        table.base = base.address;
        table.bank = base.bank_size == 0 ? 0 : table.at / base.bank_size * base.bank_size;
        table.ranges.push_back(range);
        for (std::size_t next = word + step; table.ranges.size() < kMostRecords; next += step) {
          const Range* const more = at(next);
          if (more == nullptr || *more == table.ranges.back()) break;
          table.ranges.push_back(*more);
        }
        if (table.ranges.size() < 2) continue;
        any = true;
        found_.push_back(std::move(table));
      }
      if (!any && range.begin % kRound == 0 && range.end % kRound == 0) {
        TableFound table;
        table.at = word * 4;
        table.stride = apart + 4 + 8;
        table.end_at = apart;
        table.order = order;
        table.end = end;
        table.base = base.address;
        table.bank = base.bank_size == 0 ? 0 : table.at / base.bank_size * base.bank_size;
        table.ranges.push_back(range);
        found_.push_back(std::move(table));
      }
    }
  }

  // The same records under another base say the same.
  void drop_repeated() {
    std::set<std::tuple<std::uint64_t, std::uint64_t, std::vector<Range>>> seen;
    std::erase_if(found_, [&](const TableFound& table) {
      return !seen.emplace(table.at, table.stride, table.ranges).second;
    });
  }

  // Long tables of round ranges that do not overlap come first.
  static double weight(const TableFound& table) {
    double weight = 0;
    std::size_t apart = 0;
    for (std::size_t i = 0; i < table.ranges.size(); ++i) {
      const Range& range = table.ranges[i];
      weight += std::min(16, std::countr_zero(range.begin | 0x10000)) +
                std::min(12, std::countr_zero(range.end | 0x1000));
      apart += i > 0 && !range.overlaps(table.ranges[i - 1]) ? 1 : 0;
    }
    return weight / static_cast<double>(table.ranges.size()) +
           4.0 * static_cast<double>(std::min<std::size_t>(apart, 4));
  }

  const TableScan& scan_;
  std::uint64_t size_;
  int bits_;  // that an address inside the image takes
  std::vector<std::uint32_t> words_;
  std::map<std::uint32_t, std::vector<std::uint32_t>> by_top_;  // positions by a word's upper bits
  std::vector<TableFound> found_;
};

}  // namespace

std::vector<TableFound> find_tables(const TableScan& scan, std::size_t most) {
  return Finder(scan).run(most);
}

std::vector<std::int64_t> record_offsets(const TableFound& table, std::size_t size) {
  std::vector<std::int64_t> list;
  const auto end_at = static_cast<std::int64_t>(table.end_at);
  const auto stride = static_cast<std::int64_t>(table.stride);
  const auto width = static_cast<std::int64_t>(size);
  for (std::int64_t at = -8; at + width <= stride; at += 2) {
    const bool on_first = at + width > 0 && at < 4;
    const bool on_second = at + width > end_at && at < end_at + 4;
    if (!on_first && !on_second) list.push_back(at);
  }
  return list;
}

}  // namespace calseal
