#include "calseal/digest/crc.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>

#include "calseal/base/text.h"
#include "calseal/digest/crc_fold.h"
#include "calseal/digest/load.h"
#include "calseal/digest/reflect.h"
#include "calseal/digest/sum.h"

namespace calseal {
namespace {

// Words worked on side by side, so that no word waits for another's table look-ups.
constexpr std::size_t kLanes = 4;
constexpr std::size_t kBlock = kLanes * 8;

Error checksum_error(std::string place, std::string found, std::string expected) {
  return Error{Reason::kMapChecksum, "",
               std::move(place),     std::move(found),
               std::move(expected),  "correct the CRC parameters, or name an algorithm of the catalogue"};
}

}  // namespace

Status validate_crc(const CrcParameters& parameters) {
  if (parameters.width < 3 || parameters.width > 64) {
    return fail(checksum_error("width", std::to_string(parameters.width), "3 to 64 bits"));
  }
  const std::uint64_t most = low_mask(parameters.width);
  const auto fits = [&](const char* name, std::uint64_t value) -> Status {
    if (value <= most) return {};
    return fail(checksum_error(name, hex_number(value), "at most " + hex_number(most)));
  };
  CALSEAL_CHECK(fits("poly", parameters.poly));
  CALSEAL_CHECK(fits("init", parameters.init));
  CALSEAL_CHECK(fits("xorout", parameters.xorout));
  if ((parameters.poly & 1U) == 0) {
    return fail(checksum_error("poly", hex_number(parameters.poly), "an odd number, top term left out"));
  }
  return {};
}

// Two forms of the register occur. The *state* is what the tables work on: reflected and right-aligned when
// refin, otherwise left-aligned in 64 bits, so that one loop serves every width. The *polynomial* form has
// the coefficient of x^i in bit i whatever the reflection; arithmetic modulo P happens there.
struct Crc::Engine {
  Engine(const CrcParameters& parameters, CrcKernel kernel)
      : width(parameters.width),
        refin(parameters.refin),
        mask(low_mask(width)),
        poly(parameters.poly),
        start(to_state(parameters.init)),
        fold(poly << (64 - width), refin),
        run_fold(detail::crc_fold_kernel(kernel, refin)),
        run_multiply(detail::crc_fold_multiply(kernel)) {
    fill_tables();
    fill_powers();
  }

  std::uint64_t to_polynomial(std::uint64_t state) const {
    return refin ? reflect(state, width) : state >> (64 - width);
  }
  std::uint64_t to_state(std::uint64_t polynomial) const {
    return refin ? reflect(polynomial, width) : polynomial << (64 - width);
  }

  std::uint64_t times_x(std::uint64_t a) const {
    const std::uint64_t top = (a >> (width - 1)) & 1U;
    return ((a << 1) & mask) ^ (poly & (0 - top));
  }
  // a * b mod P.
  std::uint64_t multiply(std::uint64_t a, std::uint64_t b) const {
    const int scale = 64 - width;
    if (run_multiply != nullptr) return run_multiply(fold.plain, a << scale, b) >> scale;
    std::uint64_t product = 0;
    for (int i = width - 1; i >= 0; --i) product = times_x(product) ^ (a & (0 - ((b >> i) & 1U)));
    return product;
  }
  // x^(8 * bytes) mod P, for `bytes` above 0.
  std::uint64_t power(std::uint64_t bytes) const {
    std::uint64_t product = 0;  // none yet
    const auto take = [&](std::uint64_t factor) {
      product = product == 0 ? factor : multiply(product, factor);
    };
    for (std::size_t k = 0; k < digits.size() && bytes != 0; bytes >>= 4, ++k) {
      if ((bytes & 15U) != 0) take(digits[k][bytes & 15U]);
    }
    for (std::size_t k = 4 * digits.size(); bytes != 0; bytes >>= 1, ++k) {
      if ((bytes & 1U) != 0) take(powers[k]);
    }
    return product;
  }
  // a * x^(8 * bytes) mod P: what `bytes` bytes of 00 do to a register.
  std::uint64_t shift(std::uint64_t a, std::uint64_t bytes) const {
    return a == 0 || bytes == 0 ? a : multiply(a, power(bytes));
  }
  std::uint64_t run(std::uint64_t state, ByteView data) const {
    if (detail::crc_fold_pays(data.size()) && run_fold != nullptr) {
      return run_fold(fold, state, data.data(), data.size());
    }
    return refin ? run_table<true>(state, data) : run_table<false>(state, data);
  }
  template <bool kReflected>
  std::uint64_t run_table(std::uint64_t state, ByteView data) const;

  int width;
  bool refin;
  std::uint64_t mask;
  std::uint64_t poly;
  std::uint64_t start;  // init as a state
  detail::CrcFold fold;
  detail::CrcFoldKernel run_fold;        // null where only the tables serve
  detail::CrcFoldMultiply run_multiply;  // the same
  // near[k][b]: state after byte b and then k bytes of 00, from state 0; far: with kBlock - 8 bytes more.
  using Tables = std::array<std::array<std::uint64_t, 256>, 8>;
  Tables near{};
  Tables far{};
  std::array<std::uint64_t, 64> powers{};                 // [k]: x^(8 * 2^k) mod P
  std::array<std::array<std::uint64_t, 16>, 6> digits{};  // [k][d]: x^(8 d 16^k) mod P

 private:
  void fill_tables() {
    const std::uint64_t state_poly = to_state(poly);
    for (std::uint64_t byte = 0; byte < 256; ++byte) {
      std::uint64_t state = refin ? byte : byte << 56;
      for (int bit = 0; bit < 8; ++bit) {
        if (refin) {
          state = (state >> 1) ^ (state_poly & (0 - (state & 1U)));
        } else {
          state = (state << 1) ^ (state_poly & (0 - (state >> 63)));
        }
      }
      near[0][byte] = state;
    }
    std::array<std::uint64_t, 256> last = near[0];
    for (std::size_t k = 1; k < kBlock; ++k) {
      for (std::uint64_t& state : last) {
        state = refin ? (state >> 8) ^ near[0][state & 0xffU] : (state << 8) ^ near[0][state >> 56];
      }
      if (k < 8) near[k] = last;
      if (k >= kBlock - 8) far[k - (kBlock - 8)] = last;
    }
  }

  void fill_powers() {
    powers[0] = 1;
    for (int i = 0; i < 8; ++i) powers[0] = times_x(powers[0]);
    for (std::size_t k = 1; k < powers.size(); ++k) powers[k] = multiply(powers[k - 1], powers[k - 1]);
    for (std::size_t k = 0; k < digits.size(); ++k) {
      digits[k][1] = powers[4 * k];
      for (std::size_t d = 2; d < digits[k].size(); ++d)
        digits[k][d] = d % 2 == 0 ? multiply(digits[k][d / 2], digits[k][d / 2])
                                  : multiply(digits[k][d - 1], digits[k][1]);
    }
  }
};

template <bool kReflected>
std::uint64_t Crc::Engine::run_table(std::uint64_t state, ByteView data) const {
  const auto load = [](const std::uint8_t* at) {
    return kReflected ? detail::load_little<std::uint64_t>(at) : detail::load_big<std::uint64_t>(at);
  };
  // State after the eight bytes of a word, and after what more the tables stand for.
  const auto step = [](const Tables& tables, std::uint64_t word) {
    const auto byte = [word](int i) { return (kReflected ? word >> (8 * i) : word >> (56 - 8 * i)) & 0xffU; };
    return tables[7][byte(0)] ^ tables[6][byte(1)] ^ tables[5][byte(2)] ^ tables[4][byte(3)] ^
           tables[3][byte(4)] ^ tables[2][byte(5)] ^ tables[1][byte(6)] ^ tables[0][byte(7)];
  };
  const std::uint8_t* at = data.data();
  std::size_t left = data.size();
  if (left >= kBlock) {
    // Lane j carries what words j, j + kLanes, ... do, each time moved on to the lane's next word.
    std::array<std::uint64_t, kLanes> lanes{state};
    for (; left >= 2 * kBlock; left -= kBlock, at += kBlock) {
      for (std::size_t j = 0; j < kLanes; ++j) lanes[j] = step(far, load(at + 8 * j) ^ lanes[j]);
    }
    state = 0;
    for (std::size_t j = 0; j < kLanes; ++j) state = step(near, load(at + 8 * j) ^ lanes[j] ^ state);
    left -= kBlock, at += kBlock;
  }
  for (; left >= 8; left -= 8, at += 8) state = step(near, load(at) ^ state);
  for (; left > 0; --left, ++at) {
    if constexpr (kReflected) {
      state = (state >> 8) ^ near[0][(state ^ *at) & 0xffU];
    } else {
      state = (state << 8) ^ near[0][(state >> 56) ^ *at];
    }
  }
  return state;
}

Crc::Crc(const CrcParameters& parameters, CrcKernel kernel) : parameters_(parameters) {
  assert(validate_crc(parameters));
  assert(crc_kernel_available(kernel));
  engine_ = std::make_shared<const Engine>(parameters, kernel);
}

Crc crc_of(const CrcParameters& parameters) {
  constexpr std::size_t kKept = 64;
  thread_local std::vector<Crc> kept;
  thread_local std::size_t oldest = 0;
  for (const Crc& crc : kept) {
    if (crc.parameters() == parameters) return crc;
  }
  Crc made(parameters);
  if (kept.size() < kKept) {
    kept.push_back(made);
  } else {
    kept[oldest] = made;
    oldest = (oldest + 1) % kKept;
  }
  return made;
}

std::uint64_t Crc::start() const { return engine_->start; }

std::uint64_t Crc::update(std::uint64_t state, ByteView data) const { return engine_->run(state, data); }

std::uint64_t Crc::finish(std::uint64_t state) const {
  // The state of a reflected CRC is the reflected register already.
  const std::uint64_t value = parameters_.refin ? state : state >> (64 - parameters_.width);
  const bool turn = parameters_.refin != parameters_.refout;
  return (turn ? reflect(value, parameters_.width) : value) ^ parameters_.xorout;
}

std::uint64_t Crc::residue() const {
  // The appended CRC cancels the register but for xorout, then shifted by x^width, which is poly modulo P.
  const bool refout = parameters_.refout;
  const std::uint64_t xorout = refout ? reflect(parameters_.xorout, parameters_.width) : parameters_.xorout;
  const std::uint64_t polynomial = engine_->multiply(xorout, parameters_.poly);
  return refout ? reflect(polynomial, parameters_.width) : polynomial;
}

std::uint64_t Crc::combine(std::uint64_t crc_a, std::uint64_t crc_b, std::uint64_t length_b) const {
  // What A changes in the register at its end, against init, travels through B linearly.
  const bool refout = parameters_.refout;
  const std::uint64_t register_a = crc_a ^ parameters_.xorout;
  std::uint64_t change = (refout ? reflect(register_a, parameters_.width) : register_a) ^ parameters_.init;
  change = engine_->shift(change, length_b);
  return crc_b ^ (refout ? reflect(change, parameters_.width) : change);
}

std::uint64_t Crc::shift(std::uint64_t a, std::uint64_t bytes) const { return engine_->shift(a, bytes); }

std::array<std::uint64_t, 8> Crc::byte_effects(std::uint64_t powers) const {
  std::array<std::uint64_t, 8> effects{};
  for (std::size_t bit = 0; bit < effects.size(); ++bit) {
    const std::uint64_t alone = engine_->to_polynomial(engine_->near[0][std::size_t{1} << bit]);
    const std::uint64_t effect = engine_->multiply(powers, alone);
    effects[bit] = parameters_.refout ? reflect(effect, parameters_.width) : effect;
  }
  return effects;
}

}  // namespace calseal
