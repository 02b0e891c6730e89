#include "calseal/map/message.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/map/segments.h"

namespace calseal {
namespace {

// The set { a xor lane : a in range }. An aligned block maps onto itself; only the edges move.
RangeSet swapped(Range range, std::uint64_t lane) {
  RangeSet set;
  if (lane == 0) {
    set.add(range);
    return set;
  }
  const std::uint64_t unit = lane + 1;
  const std::uint64_t inner_begin = (range.begin + unit - 1) / unit * unit;
  const std::uint64_t inner_end = range.end / unit * unit;
  if (inner_begin >= inner_end) {
    for (std::uint64_t a = range.begin; a < range.end; ++a) set.add({a ^ lane, (a ^ lane) + 1});
    return set;
  }
  for (std::uint64_t a = range.begin; a < inner_begin; ++a) set.add({a ^ lane, (a ^ lane) + 1});
  set.add({inner_begin, inner_end});
  for (std::uint64_t a = inner_end; a < range.end; ++a) set.add({a ^ lane, (a ^ lane) + 1});
  return set;
}

std::uint64_t read_u32(ByteView bytes, ByteOrder order) {
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < 4; ++i) {
    const std::size_t at = order == ByteOrder::kBig ? i : 3 - i;
    value = value << 8 | bytes[at];
  }
  return value;
}

// The range that one record names; nothing when it is blank and may be. `exists` is of the memory pointed
// into.
Result<std::optional<Place>> read_record(const RegionMap& map, const DescriptorTable& table,
                                         std::uint64_t record, std::uint64_t lane, const RangeSet& exists,
                                         const Image& image) {
  const std::uint64_t at = table.at + record * table.record_size;
  const Range start_range{at + table.start_at, at + table.start_at + 4};
  const Range end_range{at + table.end_at, at + table.end_at + 4};
  const Memory& memory = image.memories[table.memory];
  const auto place = [&] {
    return place_text(map, {table.memory, start_range}) + " (record " + std::to_string(record) + ")";
  };
  if (!memory.knows(start_range) || !memory.knows(end_range)) {
    return fail({Reason::kReadIncomplete, "", place(), "unknown bytes", "a descriptor record that was read",
                 "read the controller again, whole"});
  }
  const std::uint64_t start = read_u32(memory.view(start_range), table.order);
  const std::uint64_t second = read_u32(memory.view(end_range), table.order);
  if (table.skip_blank && start == 0xffffffff && second == 0xffffffff) return std::nullopt;
  std::uint64_t end = second;
  if (table.end == DescriptorTable::End::kLast) end = second + 1;
  if (table.end == DescriptorTable::End::kLength) end = start + second;
  const auto is_there = [&](const Range& range) { return exists.contains(range); };
  if (end <= start || !is_there({start, end}) ||
      !std::ranges::all_of(swapped({start, end}, lane).ranges(), is_there)) {
    return fail({Reason::kDescriptorInvalid, "", place(),
                 address_text(start) + " and " + address_text(second),
                 std::string("a range inside the existing parts of ") + map.memories[table.points_into].name +
                     (lane == 0 ? "" : ", the partner of every byte included"),
                 "check that region map and image belong together"});
  }
  return Place{table.points_into, {start, end}};
}

}  // namespace

// Substitutes as the addresses for which they are read, by memory and ascending.
std::vector<Message::Replaced> Message::replaced_by(const Checksum& checksum) const {
  std::vector<Replaced> replaced;
  for (const Substitute& substitute : checksum.substitutes) {
    for (const Range& range : swapped(substitute.place.range, lane_).ranges()) {
      replaced.push_back({{substitute.place.memory, range}, substitute.as});
    }
  }
  std::sort(replaced.begin(), replaced.end(), [](const auto& a, const auto& b) { return a.place < b.place; });
  return replaced;
}

void Message::push(MessagePiece piece) {
  piece.offset = length_;
  length_ += piece.size;
  pieces_.push_back(piece);
}

void Message::add_memory(const std::vector<Replaced>& replaced, const Place& place, Reads& reads) {
  const auto push_memory = [&](Range range) {
    if (range.empty()) return;
    push({.memory = place.memory, .address = range.begin, .size = range.size()});
    for (const Range& read : swapped(range, lane_).ranges()) reads[place.memory].push_back(read);
  };
  // They never overlap, so the first that ends behind the beginning is the first that matters.
  auto it =
      std::upper_bound(replaced.begin(), replaced.end(), place, [](const Place& value, const Replaced& r) {
        return std::pair(value.memory, value.range.begin) < std::pair(r.place.memory, r.place.range.end);
      });
  Range rest = place.range;
  for (; it != replaced.end() && it->place.memory == place.memory && it->place.range.begin < rest.end; ++it) {
    const Range part = intersect(it->place.range, rest);
    push_memory({rest.begin, part.begin});
    push({.kind = MessagePiece::Kind::kRun, .as = it->as, .size = part.size()});
    rest.begin = part.end;
  }
  push_memory(rest);
}

// One range falls into as many pieces as one checksum has substitutes, and no more: it is enough to ask after
// each.
Status Message::keep_to(std::size_t most_pieces, const Checksum& checksum) const {
  if (pieces_.size() <= most_pieces) return {};
  return fail({Reason::kDescriptorInvalid, "", checksum.name,
               "more than " + grouped(kPieceLimit) + " pieces read by all checksums up to this one",
               "at most " + grouped(kPieceLimit), "read fewer ranges, or cut them by fewer substitutes"});
}

Status Message::add_table(const RegionMap& map, const Checksum& checksum, const CoverageTable& table,
                          const Image& image, const std::vector<Replaced>& replaced, std::size_t most_pieces,
                          Reads& reads) {
  const std::uint64_t first = table.record.value_or(0);
  const std::uint64_t end = table.record ? first + 1 : table.table.records;
  const RangeSet exists = segments_of(map.memories[table.table.points_into]);
  for (std::uint64_t record = first; record < end; ++record) {
    CALSEAL_ASSIGN(const std::optional<Place> place,
                   read_record(map, table.table, record, lane_, exists, image));
    if (!place) continue;
    if (length_ > 16 * kImageLimit) {
      return fail({Reason::kDescriptorInvalid, "", checksum.name,
                   "more than " + grouped(16 * kImageLimit) + " bytes", "a coverage of sensible size",
                   "check that region map and image belong together"});
    }
    add_memory(replaced, *place, reads);
    CALSEAL_CHECK(keep_to(most_pieces, checksum));
  }
  return {};
}

Result<Message> Message::resolve(const RegionMap& map, const Checksum& checksum, const Image& image,
                                 std::size_t most_pieces) {
  Message message;
  message.lane_ = checksum.swap == 0 ? 0 : static_cast<std::uint64_t>(checksum.swap / 8 - 1);
  const std::vector<Replaced> replaced = message.replaced_by(checksum);
  Reads reads(map.memories.size());
  for (const Coverage& part : checksum.coverage) {
    if (const auto* range = std::get_if<CoverageRange>(&part)) {
      message.add_memory(replaced, range->place, reads);
    } else if (const auto* literal = std::get_if<CoverageLiteral>(&part)) {
      message.push({.kind = MessagePiece::Kind::kLiteral,
                    .size = literal->bytes->size(),
                    .literal = ByteView(*literal->bytes)});
    } else {
      CALSEAL_CHECK(message.add_table(map, checksum, std::get<CoverageTable>(part), image, replaced,
                                      most_pieces, reads));
    }
    CALSEAL_CHECK(message.keep_to(most_pieces, checksum));
  }
  message.pieces_.shrink_to_fit();
  message.reads_.reserve(reads.size());
  for (std::vector<Range>& ranges : reads) message.reads_.push_back(RangeSet::of(std::move(ranges)));
  return message;
}

bool Message::is_known(const Image& image) const {
  for (std::size_t i = 0; i < reads_.size(); ++i) {
    for (const Range& range : reads_[i].ranges()) {
      if (!image.memories[i].knows(range)) return false;
    }
  }
  return true;
}

void Message::feed(const Image& image, const std::function<void(ByteView)>& take) const {
  std::array<std::uint8_t, 4096> block{};
  for (const MessagePiece& piece : pieces_) {
    if (piece.kind == MessagePiece::Kind::kLiteral) {
      take(piece.literal);
    } else if (piece.kind == MessagePiece::Kind::kRun) {
      block.fill(piece.as);
      for (std::uint64_t left = piece.size; left > 0;) {
        const std::uint64_t n = std::min<std::uint64_t>(left, block.size());
        take(ByteView(block.data(), static_cast<std::size_t>(n)));
        left -= n;
      }
    } else if (lane_ == 0) {
      take(image.memories[piece.memory].view({piece.address, piece.address + piece.size}));
    } else {
      const Memory& memory = image.memories[piece.memory];
      const std::uint64_t end = piece.address + piece.size;
      for (std::uint64_t at = piece.address; at < end;) {
        // Whole groups together; at both edges byte by byte, because the rest of a group may be unknown.
        const std::uint64_t whole = at % (lane_ + 1) == 0 ? (end - at) / (lane_ + 1) * (lane_ + 1) : 0;
        const std::uint64_t n = std::clamp<std::uint64_t>(whole, 1, block.size());
        const std::uint64_t from = n == 1 ? at ^ lane_ : at;
        const ByteView bytes = memory.view({from, from + n});
        for (std::uint64_t i = 0; i < n; ++i) block[i] = bytes[n == 1 ? 0 : i ^ lane_];
        take(ByteView(block.data(), static_cast<std::size_t>(n)));
        at += n;
      }
    }
  }
}

std::vector<std::uint64_t> Message::offsets_of(std::size_t memory, std::uint64_t address) const {
  std::vector<std::uint64_t> offsets;
  if (!reads_[memory].contains(address)) return offsets;
  const std::uint64_t named = address ^ lane_;
  for (const MessagePiece& piece : pieces_) {
    if (piece.kind != MessagePiece::Kind::kMemory || piece.memory != memory) continue;
    if (named >= piece.address && named - piece.address < piece.size) {
      offsets.push_back(piece.offset + (named - piece.address));
    }
  }
  return offsets;
}

}  // namespace calseal
