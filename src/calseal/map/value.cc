#include "calseal/map/value.h"

#include <algorithm>

#include "calseal/digest/crc.h"
#include "calseal/digest/sum.h"

namespace calseal {

CheckValue compute_value(const Plan& plan, const PlanNode& node, const Image& image) {
  const Algorithm& algorithm = plan.map->checksums[node.index].algorithm;
  const Message& message = node.message;
  CheckValue value;
  switch (algorithm.kind) {
    case AlgorithmKind::kCrc: {
      const Crc crc = crc_of(algorithm.crc);
      std::uint64_t state = crc.start();
      message.feed(image, [&](ByteView bytes) { state = crc.update(state, bytes); });
      value.number = crc.finish(state);
      break;
    }
    case AlgorithmKind::kSum: {
      Sum sum(algorithm.sum);
      message.feed(image, [&](ByteView bytes) { sum.update(bytes); });
      value.number = sum.value();
      break;
    }
    case AlgorithmKind::kFletcher: {
      Fletcher fletcher(algorithm.fletcher, algorithm.order);
      message.feed(image, [&](ByteView bytes) { fletcher.update(bytes); });
      value.number = fletcher.value();
      break;
    }
    case AlgorithmKind::kAdler32: {
      std::uint32_t state = 1;
      message.feed(image, [&](ByteView bytes) { state = update_adler32(state, bytes); });
      value.number = state;
      break;
    }
    case AlgorithmKind::kSha256: {
      Sha256Hasher hasher;
      message.feed(image, [&](ByteView bytes) { hasher.update(bytes); });
      value.digest = hasher.finish();
      break;
    }
  }
  return value;
}

CheckValue finish_value(const Checksum& checksum, const CheckValue& value) {
  if (checksum.algorithm.kind == AlgorithmKind::kSha256) return value;
  const int width = algorithm_bits(checksum.algorithm);
  std::uint64_t number = value.number;
  if (checksum.complement == Complement::kOnes) number = ones_complement(number, width);
  if (checksum.complement == Complement::kTwos) number = twos_complement(number, width);
  number = (number + checksum.add) & low_mask(width);
  return {number & low_mask(checksum.bits), {}};
}

std::uint64_t unfinish_number(const Checksum& checksum, std::uint64_t result) {
  // Complement, negation and addition carry only upwards, so the low bits can be undone alone.
  const std::uint64_t mask = low_mask(checksum.bits);
  std::uint64_t number = (result - checksum.add) & mask;
  if (checksum.complement == Complement::kOnes) number = ~number & mask;
  if (checksum.complement == Complement::kTwos) number = (~number + 1) & mask;
  return number;
}

namespace {

std::uint64_t reversed(std::uint64_t number, int bits) {
  std::uint64_t out = 0;
  for (int i = 0; i < bits; ++i) out = out << 1 | ((number >> i) & 1U);
  return out;
}

Bytes encode_digits(std::uint64_t number, std::size_t size, SlotEncoding encoding) {
  const char* digits = encoding == SlotEncoding::kHexUpper ? "0123456789ABCDEF" : "0123456789abcdef";
  const std::uint64_t radix = encoding == SlotEncoding::kDecimal ? 10 : 16;
  Bytes bytes(size);
  for (std::size_t i = size; i > 0; --i) {
    bytes[i - 1] = static_cast<std::uint8_t>(digits[number % radix]);
    number /= radix;
  }
  return bytes;
}

}  // namespace

Bytes encode_slot(const Algorithm& algorithm, const Slot& slot, const CheckValue& result) {
  const auto size = static_cast<std::size_t>(slot.place.range.size());
  if (algorithm.kind == AlgorithmKind::kSha256) {
    const auto from = result.digest.bytes.begin() + slot.from;
    Bytes bytes(from, from + static_cast<std::ptrdiff_t>(size));
    if (slot.transform == SlotTransform::kComplement) {
      for (std::uint8_t& byte : bytes) byte = static_cast<std::uint8_t>(~byte);
    }
    return bytes;
  }
  std::uint64_t part = (slot.from >= 64 ? 0 : result.number >> slot.from) & low_mask(slot.bits);
  switch (slot.transform) {
    case SlotTransform::kPlain:
      break;
    case SlotTransform::kComplement:
      part = ones_complement(part, slot.bits);
      break;
    case SlotTransform::kNegate:
      part = twos_complement(part, slot.bits);
      break;
    case SlotTransform::kReverse:
      part = reversed(part, slot.bits);
      break;
  }
  if (slot.encoding != SlotEncoding::kBinary) return encode_digits(part, size, slot.encoding);
  return encode_word(part, size, slot.order);
}

Bytes encode_word(std::uint64_t number, std::size_t size, ByteOrder order) {
  Bytes bytes(size);
  for (std::size_t i = 0; i < size; ++i) {
    bytes[i] = i < 8 ? static_cast<std::uint8_t>(number >> (8 * i)) : std::uint8_t{0};
  }
  if (order == ByteOrder::kBig) std::reverse(bytes.begin(), bytes.end());
  return bytes;
}

std::uint64_t decode_word(ByteView bytes, ByteOrder order) {
  std::uint64_t number = 0;
  for (std::size_t i = 0; i < bytes.size() && i < 8; ++i) {
    const std::size_t at = order == ByteOrder::kBig ? bytes.size() - 1 - i : i;
    number |= std::uint64_t{bytes[at]} << (8 * i);
  }
  return number;
}

}  // namespace calseal
