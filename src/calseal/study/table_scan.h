// Descriptor tables in an image: records that name ranges by start and end, or start and length.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "calseal/digest/sum.h"
#include "calseal/map/region_map.h"
#include "calseal/study/search_hit.h"

namespace calseal {

// A run of records that make sense. It lies in the image at `at`, record i at `at` + i * `stride`.
struct TableFound {
  std::uint64_t at = 0;  // offset of the first start value
  std::uint64_t stride = 0;
  std::uint64_t end_at = 4;  // offset of the second value from the first
  ByteOrder order = ByteOrder::kLittle;
  DescriptorTable::End end = DescriptorTable::End::kLast;
  std::uint64_t base = 0;     // the address of the image's, or the bank's, first byte
  std::uint64_t bank = 0;     // offset in the image that `base` stands for: 0, or the table's own bank
  std::vector<Range> ranges;  // offsets, one for each record
  Range place() const { return {at, at + stride * (ranges.size() - 1) + end_at + 4}; }
};

struct TableScan {
  ByteView image;
  std::vector<std::uint64_t>
      origins;  // addresses that the image may begin at, besides those its words suggest
};

// Tables of at least two records, or of one whose range begins and ends on multiples of 256. Values are 32
// bits wide in either order; addresses absolute, from the image's begin, or from the begin of the table's
// bank of 16 KiB to half the image. Records are 8 to 64 bytes long. Likeliest first, at most `most`.
std::vector<TableFound> find_tables(const TableScan& scan, std::size_t most);

// Offsets, from a record's first value, at which a checksum of `size` bytes is looked for.
std::vector<std::int64_t> record_offsets(const TableFound& table, std::size_t size);

}  // namespace calseal
