// What docs/region-map.md says a checksum computes, byte by byte and bit by bit; shares only the parsed map
// with the library.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/region_map.h"
#include "support/crc_reference.h"
#include "support/sum_reference.h"

namespace calseal::reference {

inline std::uint8_t byte_of(const Image& image, std::size_t memory, std::uint64_t address) {
  return image.memories[memory].bytes[address - image.memories[memory].extent.begin];
}

// A byte of the message, and the address that it was taken from; literals and substituted bytes have none.
struct MessageByte {
  std::uint8_t value = 0;
  bool taken = false;
  std::size_t memory = 0;
  std::uint64_t address = 0;
};

inline void append_range(const Checksum& checksum, const Image& image, const Place& place,
                         std::vector<MessageByte>& out) {
  for (std::uint64_t named = place.range.begin; named < place.range.end; ++named) {
    std::uint64_t from = named;
    if (checksum.swap == 16) from = named % 2 == 0 ? named + 1 : named - 1;
    if (checksum.swap == 32) from = named / 4 * 4 + (3 - named % 4);
    MessageByte byte{byte_of(image, place.memory, from), true, place.memory, from};
    for (const Substitute& substitute : checksum.substitutes) {
      if (substitute.place.memory != place.memory || from < substitute.place.range.begin ||
          from >= substitute.place.range.end)
        continue;
      byte = {substitute.as, false, 0, 0};
    }
    out.push_back(byte);
  }
}

inline std::uint64_t word_at(const Image& image, std::size_t memory, std::uint64_t address, ByteOrder order) {
  std::uint64_t value = 0;
  for (std::uint64_t i = 0; i < 4; ++i) {
    value = value * 256 + byte_of(image, memory, order == ByteOrder::kBig ? address + i : address + 3 - i);
  }
  return value;
}

inline std::vector<MessageByte> message_of(const Checksum& checksum, const Image& image) {
  std::vector<MessageByte> out;
  for (const Coverage& part : checksum.coverage) {
    if (const auto* range = std::get_if<CoverageRange>(&part))
      append_range(checksum, image, range->place, out);
    if (const auto* literal = std::get_if<CoverageLiteral>(&part)) {
      for (const std::uint8_t byte : *literal->bytes) out.push_back({byte, false, 0, 0});
    }
    if (const auto* covered = std::get_if<CoverageTable>(&part)) {
      const DescriptorTable& t = covered->table;
      for (std::uint64_t i = 0; i < t.records; ++i) {
        if (covered->record && *covered->record != i) continue;
        const std::uint64_t start = word_at(image, t.memory, t.at + i * t.record_size + t.start_at, t.order);
        const std::uint64_t second = word_at(image, t.memory, t.at + i * t.record_size + t.end_at, t.order);
        if (t.skip_blank && start == 0xffffffff && second == 0xffffffff) continue;
        std::uint64_t end = second;
        if (t.end == DescriptorTable::End::kLast) end = second + 1;
        if (t.end == DescriptorTable::End::kLength) end = start + second;
        append_range(checksum, image, {t.points_into, {start, end}}, out);
      }
    }
  }
  return out;
}

inline Bytes message_bytes(const Checksum& checksum, const Image& image) {
  Bytes bytes;
  for (const MessageByte& byte : message_of(checksum, image)) bytes.push_back(byte.value);
  return bytes;
}

// All algorithms but SHA-256.
inline std::uint64_t result_of(const Checksum& checksum, const Image& image) {
  const Bytes message = message_bytes(checksum, image);
  const Algorithm& algorithm = checksum.algorithm;
  Wide value = 0;
  int width = 32;
  switch (algorithm.kind) {
    case AlgorithmKind::kCrc:
      value = compute_crc(algorithm.crc, message);
      width = algorithm.crc.width;
      break;
    case AlgorithmKind::kSum:
      value = compute_sum(algorithm.sum, message);
      width = algorithm.sum.accumulator;
      break;
    case AlgorithmKind::kFletcher:
      value = compute_fletcher(algorithm.fletcher, algorithm.order, message);
      width = algorithm.fletcher;
      break;
    default:
      value = compute_adler32(message);
  }
  const Wide modulus = Wide{1} << width;
  if (checksum.complement == Complement::kOnes) value = modulus - 1 - value;
  if (checksum.complement == Complement::kTwos) value = (modulus - value) % modulus;
  value = (value + checksum.add) % modulus;
  return static_cast<std::uint64_t>(value % (Wide{1} << checksum.bits));
}

// The number that a slot's bytes say, read as a person would; all ones of 128 bits when they are not digits
// of its encoding.
inline Wide stored_number(const Slot& slot, const Image& image) {
  Wide number = 0;
  for (std::uint64_t i = 0; i < slot.place.range.size(); ++i) {
    const bool from_end = slot.encoding == SlotEncoding::kBinary && slot.order == ByteOrder::kLittle;
    const std::uint8_t byte = byte_of(image, slot.place.memory,
                                      from_end ? slot.place.range.end - 1 - i : slot.place.range.begin + i);
    if (slot.encoding == SlotEncoding::kBinary) {
      number = number * 256 + byte;
      continue;
    }
    const std::string digits = slot.encoding == SlotEncoding::kHexLower   ? "0123456789abcdef"
                               : slot.encoding == SlotEncoding::kHexUpper ? "0123456789ABCDEF"
                                                                          : "0123456789";
    const std::size_t digit = digits.find(static_cast<char>(byte));
    if (digit == std::string::npos) return ~Wide{0};
    number = number * digits.size() + digit;
  }
  return number;
}

// Whether a slot holds its part of `result`.
inline bool slot_holds(const Slot& slot, std::uint64_t result, const Image& image) {
  const Wide modulus = Wide{1} << slot.bits;
  const Wide part = (Wide{result} >> slot.from) % modulus;
  Wide wanted = part;
  if (slot.transform == SlotTransform::kComplement) wanted = modulus - 1 - part;
  if (slot.transform == SlotTransform::kNegate) wanted = (modulus - part) % modulus;
  if (slot.transform == SlotTransform::kReverse) {
    wanted = 0;
    for (int i = 0; i < slot.bits; ++i) wanted = wanted * 2 + (part >> i) % 2;
  }
  return stored_number(slot, image) == wanted;
}

inline bool checksum_holds(const Checksum& checksum, const Image& image) {
  const std::uint64_t result = result_of(checksum, image);
  if (checksum.rule) return result == checksum.rule->equals;
  for (const Slot& slot : checksum.slots) {
    if (!slot_holds(slot, result, image)) return false;
  }
  return true;
}

inline bool copy_holds(const Copy& copy, const Image& image) {
  for (std::uint64_t i = 0; i < copy.to.range.size(); ++i) {
    const int of = byte_of(image, copy.of.memory, copy.of.range.begin + i);
    const int to = byte_of(image, copy.to.memory, copy.to.range.begin + i);
    if (copy.transform == CopyTransform::kPlain && to != of) return false;
    if (copy.transform == CopyTransform::kComplement && to + of != 255) return false;
    if (copy.transform == CopyTransform::kOffset && to != (of + copy.offset) % 256) return false;
  }
  return true;
}

// Names of the checksums and copies that do not hold.
inline std::vector<std::string> wrong_ones(const RegionMap& map, const Image& image) {
  std::vector<std::string> names;
  for (const Checksum& checksum : map.checksums) {
    if (!checksum_holds(checksum, image)) names.push_back(checksum.name);
  }
  for (const Copy& copy : map.copies) {
    if (!copy_holds(copy, image)) names.push_back(copy.name);
  }
  return names;
}

// The first of them, or empty.
inline std::string first_wrong(const RegionMap& map, const Image& image) {
  const std::vector<std::string> names = wrong_ones(map, image);
  return names.empty() ? "" : names.front();
}

}  // namespace calseal::reference
