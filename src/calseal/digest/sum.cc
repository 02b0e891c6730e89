#include "calseal/digest/sum.h"

#include <zlib.h>

#include <algorithm>
#include <cassert>
#include <string>

#include "calseal/base/text.h"
#include "calseal/digest/load.h"

namespace calseal {
namespace {

Error sum_error(std::string place, std::string found, std::string expected) {
  return Error{Reason::kMapChecksum, "",
               std::move(place),     std::move(found),
               std::move(expected),  "correct the parameters of the sum"};
}

// The word that `bytes` bytes make, the first of them in the lowest bits of `little`.
std::uint64_t ordered(std::uint64_t little, int bytes, ByteOrder order) {
  return order == ByteOrder::kLittle ? little : detail::swap_bytes(little) >> (64 - 8 * bytes);
}

template <typename Word>
std::uint64_t load(const std::uint8_t* at, ByteOrder order) {
  return order == ByteOrder::kLittle ? detail::load_little<Word>(at) : detail::load_big<Word>(at);
}

// a + word with every carry out of `bits` added in again.
std::uint64_t add_end_around(std::uint64_t a, std::uint64_t word, int bits) {
  if (bits == 64) {
    const std::uint64_t sum = a + word;
    return sum + (sum < word ? 1 : 0);
  }
  const std::uint64_t mask = low_mask(bits);
  while (word > mask) word = (word & mask) + (word >> bits);
  const std::uint64_t sum = a + word;
  return (sum & mask) + (sum >> bits);
}

}  // namespace

std::uint64_t low_mask(int bits) {
  assert(bits >= 0 && bits <= 64);
  return bits == 0 ? 0 : ~std::uint64_t{0} >> (64 - bits);
}

std::uint64_t ones_complement(std::uint64_t value, int bits) { return ~value & low_mask(bits); }

std::uint64_t twos_complement(std::uint64_t value, int bits) { return (0 - value) & low_mask(bits); }

Status validate_sum(const SumParameters& parameters) {
  const int unit = parameters.unit;
  const int accumulator = parameters.accumulator;
  if (unit != 8 && unit != 16 && unit != 32 && unit != 64) {
    return fail(sum_error("unit", std::to_string(unit), "8, 16, 32 or 64 bits"));
  }
  if (accumulator < 8 || accumulator > 64) {
    return fail(sum_error("accumulator", std::to_string(accumulator), "8 to 64 bits"));
  }
  if (parameters.operation == SumOperation::kXor && accumulator < unit) {
    return fail(sum_error("accumulator", std::to_string(accumulator),
                          "at least the " + std::to_string(unit) + " bits of the words"));
  }
  if (parameters.init > low_mask(accumulator)) {
    return fail(
        sum_error("init", hex_number(parameters.init), "at most " + hex_number(low_mask(accumulator))));
  }
  return {};
}

Sum::Sum(const SumParameters& parameters) : parameters_(parameters), accumulator_(parameters.init) {
  assert(validate_sum(parameters));
}

std::uint64_t Sum::added(std::uint64_t word) const {
  switch (parameters_.operation) {
    case SumOperation::kAdd:
      return (accumulator_ + word) & low_mask(parameters_.accumulator);
    case SumOperation::kAddEndAround:
      return add_end_around(accumulator_, word, parameters_.accumulator);
    case SumOperation::kXor:
      return accumulator_ ^ word;
  }
  return accumulator_;
}

void Sum::add_byte(std::uint8_t byte) {
  partial_ |= std::uint64_t{byte} << (8 * partial_bytes_);
  if (++partial_bytes_ < parameters_.unit / 8) return;
  accumulator_ = added(ordered(partial_, partial_bytes_, parameters_.order));
  partial_ = 0;
  partial_bytes_ = 0;
}

template <typename Word>
void Sum::add_words(ByteView data) {
  // Shorter words are first added up without carrying out: when carries are taken does not matter.
  constexpr std::size_t kChunk = sizeof(Word) == 8 ? 8 : std::size_t{1} << 20;
  const bool exclusive = parameters_.operation == SumOperation::kXor;
  while (!data.empty()) {
    const ByteView chunk = data.first(std::min(kChunk, data.size()));
    std::uint64_t total = 0;
    for (std::size_t i = 0; i < chunk.size(); i += sizeof(Word)) {
      const std::uint64_t word = load<Word>(chunk.data() + i, parameters_.order);
      total = exclusive ? total ^ word : total + word;
    }
    accumulator_ = added(total);
    data = data.subspan(chunk.size());
  }
}

void Sum::update(ByteView data) {
  while (partial_bytes_ != 0 && !data.empty()) {
    add_byte(data.front());
    data = data.subspan(1);
  }
  const std::size_t trailing = data.size() % static_cast<std::size_t>(parameters_.unit / 8);
  const ByteView whole = data.first(data.size() - trailing);
  switch (parameters_.unit) {
    case 8:
      add_words<std::uint8_t>(whole);
      break;
    case 16:
      add_words<std::uint16_t>(whole);
      break;
    case 32:
      add_words<std::uint32_t>(whole);
      break;
    default:
      add_words<std::uint64_t>(whole);
      break;
  }
  for (const std::uint8_t byte : data.last(trailing)) add_byte(byte);
}

std::uint64_t Sum::value() const {
  if (partial_bytes_ == 0) return accumulator_;
  return added(ordered(partial_, parameters_.unit / 8, parameters_.order));
}

Fletcher::Fletcher(int width, ByteOrder order) : width_(width), order_(order) {
  assert(width == 16 || width == 32);
}

template <typename Word>
void Fletcher::add_words(ByteView data) {
  constexpr std::uint64_t kModulus = Word(~Word{0});
  // Sums of one block stay far below 2^64, so one division a block is enough.
  constexpr std::size_t kBlock = 4096 * sizeof(Word);
  while (!data.empty()) {
    const ByteView block = data.first(std::min(kBlock, data.size()));
    std::uint64_t sum1 = sum1_;
    std::uint64_t sum2 = sum2_;
    for (std::size_t i = 0; i < block.size(); i += sizeof(Word)) {
      sum1 += load<Word>(block.data() + i, order_);
      sum2 += sum1;
    }
    sum1_ = static_cast<std::uint32_t>(sum1 % kModulus);
    sum2_ = static_cast<std::uint32_t>(sum2 % kModulus);
    data = data.subspan(block.size());
  }
}

void Fletcher::update(ByteView data) {
  if (width_ == 16) return add_words<std::uint8_t>(data);
  if (data.empty()) return;
  if (has_half_) {
    const std::uint8_t word[2] = {half_, data.front()};
    add_words<std::uint16_t>(word);
    has_half_ = false;
    data = data.subspan(1);
  }
  if (data.size() % 2 != 0) {
    half_ = data.back();
    has_half_ = true;
    data = data.first(data.size() - 1);
  }
  add_words<std::uint16_t>(data);
}

std::uint32_t Fletcher::value() const {
  Fletcher whole = *this;
  const std::uint8_t padding = 0;
  if (has_half_) whole.update(ByteView(&padding, 1));
  return (whole.sum2_ << (width_ / 2)) | whole.sum1_;
}

std::uint32_t update_adler32(std::uint32_t state, ByteView data) {
  // zlib reads a null pointer as "start again", and an empty view may hold one.
  if (data.empty()) return state;
  return static_cast<std::uint32_t>(adler32_z(state, data.data(), data.size()));
}

}  // namespace calseal
