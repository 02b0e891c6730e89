#include "calseal/digest/sum.h"

#include <zlib.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cstring>
#include <string>
#include <type_traits>

#include "calseal/base/lanes.h"
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

// Where the low part of a lane stands in memory: 0 first, 1 second.
constexpr std::size_t kLow = std::endian::native == std::endian::little ? 0 : 1;

// Sums of the bytes at every offset modulo 8: what any sum of words is made of, in either byte order.
std::array<std::uint64_t, 8> sum_by_place(ByteView data) {
  std::array<std::uint64_t, 8> sums{};
  constexpr std::size_t kRun = 256;  // vectors whose bytes, added up, still fit 16 bits
  while (data.size() >= lanes::kSize) {
    const std::size_t vectors = std::min(kRun, data.size() / lanes::kSize);
    lanes::U16 low{}, high{};
    for (std::size_t i = 0; i < vectors; ++i) {
      const auto bytes = lanes::load<lanes::U16>(data.data() + i * lanes::kSize);
      low += bytes & 0xff;
      high += bytes >> 8;
    }
    for (std::size_t lane = 0; lane < 8; ++lane) {
      sums[(2 * lane + kLow) % 8] += low[lane];
      sums[(2 * lane + 1 - kLow) % 8] += high[lane];
    }
    data = data.subspan(vectors * lanes::kSize);
  }
  for (std::size_t i = 0; i < data.size(); ++i) sums[i % 8] += data[i];
  return sums;
}

// The exclusive or of all words of eight bytes, the first byte lowest; a part of a word counts as if followed
// by 00.
std::uint64_t xor_words(ByteView data) {
  lanes::U64 wide{};
  for (; data.size() >= lanes::kSize; data = data.subspan(lanes::kSize)) {
    wide ^= lanes::load<lanes::U64>(data.data());
  }
  const std::uint64_t words = wide[0] ^ wide[1];
  std::array<std::uint8_t, 8> bytes{};
  std::memcpy(bytes.data(), &words, bytes.size());
  for (std::size_t i = 0; i < data.size(); ++i) bytes[i % 8] ^= data[i];
  return detail::load_little<std::uint64_t>(bytes.data());
}

// What a run of words adds to Fletcher's sums: sum1 grows by `plain`, sum2 by `weighted` and by the words'
// number times the old sum1. Words with the first byte lowest.
struct FletcherRun {
  std::uint64_t plain = 0;
  std::uint64_t weighted = 0;
};

// `Lanes` are twice as wide as the words. `data` is whole vectors, few enough that the weights fit the lanes.
template <typename Lanes>
FletcherRun run_fletcher(ByteView data) {
  using Lane = std::remove_reference_t<decltype(Lanes{}[0])>;
  constexpr std::size_t kLaneCount = lanes::kSize / sizeof(Lane);
  constexpr int kWordBits = static_cast<int>(4 * sizeof(Lane));
  constexpr Lane kMask = static_cast<Lane>((std::uint64_t{1} << kWordBits) - 1);
  Lanes plain[2] = {};
  Lanes weighted[2] = {};
  for (std::size_t at = 0; at < data.size(); at += lanes::kSize) {
    const auto words = lanes::load<Lanes>(data.data() + at);
    plain[0] += words & kMask;
    plain[1] += words >> kWordBits;
    weighted[0] += plain[0];
    weighted[1] += plain[1];
  }
  FletcherRun run;
  for (std::size_t lane = 0; lane < kLaneCount; ++lane) {
    for (std::size_t half = 0; half < 2; ++half) {
      const std::size_t place = 2 * lane + (half == 0 ? kLow : 1 - kLow);
      run.plain += plain[half][lane];
      run.weighted += 2 * kLaneCount * weighted[half][lane] - place * plain[half][lane];
    }
  }
  return run;
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
void Sum::add_with_carry(ByteView data) {
  // Shorter words are first added up without carrying out: when carries are taken does not matter.
  constexpr std::size_t kChunk = sizeof(Word) == 8 ? 8 : std::size_t{1} << 20;
  while (!data.empty()) {
    const ByteView chunk = data.first(std::min(kChunk, data.size()));
    std::uint64_t total = 0;
    for (std::size_t i = 0; i < chunk.size(); i += sizeof(Word)) {
      total += load<Word>(chunk.data() + i, parameters_.order);
    }
    accumulator_ = added(total);
    data = data.subspan(chunk.size());
  }
}

void Sum::add_words(ByteView data) {
  const int bytes = parameters_.unit / 8;
  if (parameters_.operation == SumOperation::kXor) {
    std::uint64_t words = xor_words(data);
    for (int bits = 32; bits >= parameters_.unit; bits /= 2)
      words = (words ^ (words >> bits)) & low_mask(bits);
    accumulator_ = added(ordered(words, bytes, parameters_.order));
    return;
  }
  const std::array<std::uint64_t, 8> sums = sum_by_place(data);
  for (int i = 0; i < 8; ++i) {
    const int place = i % bytes;
    accumulator_ = added(sums[static_cast<std::size_t>(i)]
                         << (8 * (parameters_.order == ByteOrder::kLittle ? place : bytes - 1 - place)));
  }
}

void Sum::update(ByteView data) {
  while (partial_bytes_ != 0 && !data.empty()) {
    add_byte(data.front());
    data = data.subspan(1);
  }
  const std::size_t trailing = data.size() % static_cast<std::size_t>(parameters_.unit / 8);
  const ByteView whole = data.first(data.size() - trailing);
  if (parameters_.operation != SumOperation::kAddEndAround) {
    add_words(whole);
  } else if (parameters_.unit == 8) {
    add_with_carry<std::uint8_t>(whole);
  } else if (parameters_.unit == 16) {
    add_with_carry<std::uint16_t>(whole);
  } else if (parameters_.unit == 32) {
    add_with_carry<std::uint32_t>(whole);
  } else {
    add_with_carry<std::uint64_t>(whole);
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
  using Lanes = std::conditional_t<sizeof(Word) == 1, lanes::U16, lanes::U32>;
  constexpr std::uint64_t kModulus = Word(~Word{0});
  // n vectors weigh a word up to n times: n (n + 1) / 2 words of the largest value fit a lane.
  constexpr std::size_t kRun = (sizeof(Word) == 1 ? 22 : 256) * lanes::kSize;
  // Swapping the bytes of a word multiplies it by 256 modulo 65535 (RFC 1071, section 2 (B)).
  const std::uint64_t scale = sizeof(Word) == 2 && order_ == ByteOrder::kBig ? 256 : 1;
  while (data.size() >= lanes::kSize) {
    const ByteView part = data.first(std::min(kRun, data.size() / lanes::kSize * lanes::kSize));
    const FletcherRun run = run_fletcher<Lanes>(part);
    const std::uint64_t words = part.size() / sizeof(Word);
    sum2_ =
        static_cast<std::uint32_t>((sum2_ + words * sum1_ + scale * (run.weighted % kModulus)) % kModulus);
    sum1_ = static_cast<std::uint32_t>((sum1_ + scale * (run.plain % kModulus)) % kModulus);
    data = data.subspan(part.size());
  }
  for (; !data.empty(); data = data.subspan(sizeof(Word))) {
    sum1_ = static_cast<std::uint32_t>((sum1_ + load<Word>(data.data(), order_)) % kModulus);
    sum2_ = static_cast<std::uint32_t>((sum2_ + sum1_) % kModulus);
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
