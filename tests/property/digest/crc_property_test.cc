// Crc against plain long division, and its shortcuts against the long way.
#include <gtest/gtest.h>

#include <optional>
#include <set>
#include <vector>

#include "calseal/digest/catalogue.h"
#include "calseal/digest/crc.h"
#include "support/crc_reference.h"
#include "support/crc_vectors.h"
#include "support/matchers.h"
#include "support/random.h"

namespace calseal {
namespace {

class CrcEntry : public ::testing::TestWithParam<CatalogueEntry> {};

TEST_P(CrcEntry, AgreesWithLongDivisionAtEveryLengthUpTo300) {
  Random random;
  const CatalogueEntry& entry = GetParam();
  const reference::WideCrc parameters{entry.width,
                                      (reference::Wide{entry.poly.high} << 64) | entry.poly.low,
                                      (reference::Wide{entry.init.high} << 64) | entry.init.low,
                                      entry.refin,
                                      entry.refout,
                                      (reference::Wide{entry.xorout.high} << 64) | entry.xorout.low};
  const Result<CrcParameters> narrow = parameters_of(entry);
  const std::optional<Crc> crc = narrow ? std::optional<Crc>(*narrow) : std::nullopt;
  const Bytes data = random.bytes(300 + 16);
  for (std::size_t length = 0; length <= 300; ++length) {
    const ByteView piece = ByteView(data).subspan(length % 16, length);  // every alignment, too
    const reference::Wide expected = reference::compute_crc(parameters, piece);
    const CrcValue plain = compute_catalogue_crc(entry, piece);
    ASSERT_EQ(plain.low, static_cast<std::uint64_t>(expected)) << length;
    ASSERT_EQ(plain.high, static_cast<std::uint64_t>(expected >> 64)) << length;
    if (crc) {
      ASSERT_EQ(crc->compute(piece), plain.low) << length;
    }
  }
}

std::vector<CatalogueEntry> all_entries() { return {crc_catalogue().begin(), crc_catalogue().end()}; }

INSTANTIATE_TEST_SUITE_P(Catalogue, CrcEntry, ::testing::ValuesIn(all_entries()),
                         [](const auto& row) { return test_name(row.param.name); });

// One random algorithm of each width and one of each in the catalogue.
std::vector<CrcParameters> many_algorithms(Random& random) {
  std::vector<CrcParameters> all = catalogue_parameters();
  for (int width = 3; width <= 64; ++width) all.push_back(random_crc(random, width));
  return all;
}

TEST(CrcProperty, AnyParametersAgreeWithLongDivision) {
  Random random;
  for (int width = 3; width <= 64; ++width) {
    for (int round = 0; round < 8; ++round) {
      const CrcParameters p = random_crc(random, width);
      ASSERT_THAT(validate_crc(p), IsOk());
      const Crc crc(p);
      for (int i = 0; i < 4; ++i) {
        const Bytes data = random.bytes(random.between(0, 200));
        ASSERT_EQ(crc.compute(data), reference::compute_crc(p, data)) << describe(p);
      }
    }
  }
}

TEST(CrcProperty, LongDataAgreesWithLongDivision) {
  Random random;
  for (int round = 0; round < 6; ++round) {
    const CrcParameters p = random_crc(random, static_cast<int>(random.between(3, 64)));
    const Bytes data = random.bytes(random.between(20000, 60000));
    ASSERT_EQ(Crc(p).compute(data), reference::compute_crc(p, data)) << describe(p);
  }
}

TEST(CrcProperty, AlignmentAndLengthDoNotMatter) {
  Random random;
  const Bytes data = random.bytes(80);
  for (const bool reflected : {false, true}) {
    CrcParameters p = random_crc(random, 32);
    p.refin = reflected;
    const Crc crc(p);
    for (std::size_t offset = 0; offset < 32; ++offset) {
      for (std::size_t length = 0; length <= 48; ++length) {
        const ByteView piece = ByteView(data).subspan(offset, length);
        const Bytes copy(piece.begin(), piece.end());
        ASSERT_EQ(crc.compute(piece), reference::compute_crc(p, copy)) << offset << " " << length;
      }
    }
  }
}

TEST(CrcProperty, SplittingAnywhereGivesTheWhole) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    const Bytes data = random.bytes(random.between(0, 400));
    std::uint64_t state = crc.start();
    for (ByteView left = data; !left.empty();) {
      const std::size_t piece = random.between(0, left.size());
      state = crc.update(state, left.first(piece));
      left = left.subspan(piece);
    }
    ASSERT_EQ(crc.finish(state), crc.compute(data)) << describe(p);
  }
}

TEST(CrcProperty, CombineEqualsTheWhole) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    for (int round = 0; round < 5; ++round) {
      Bytes a = random.bytes(random.between(0, 70));
      const Bytes b = random.bytes(random.between(0, 700));
      const std::uint64_t combined = crc.combine(crc.compute(a), crc.compute(b), b.size());
      a.insert(a.end(), b.begin(), b.end());
      ASSERT_EQ(combined, crc.compute(a)) << describe(p);
    }
  }
}

TEST(CrcProperty, RepeatingEqualsFeedingEveryByte) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    for (int round = 0; round < 5; ++round) {
      const std::uint64_t state = crc.update(crc.start(), random.bytes(random.between(0, 20)));
      const Bytes same(random.between(0, 3000), static_cast<std::uint8_t>(random.between(0, 255)));
      const std::uint8_t byte = same.empty() ? std::uint8_t{7} : same.front();
      ASSERT_EQ(crc.update_repeated(state, byte, same.size()), crc.update(state, same)) << describe(p);
    }
  }
}

TEST(CrcProperty, RepeatingAddsUpWhateverTheCounts) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    const std::uint64_t m = random.between(0, std::uint64_t{1} << 62);
    const std::uint64_t n = random.between(0, std::uint64_t{1} << 62);
    const auto byte = static_cast<std::uint8_t>(random.between(0, 255));
    ASSERT_EQ(crc.update_repeated(crc.update_repeated(crc.start(), byte, m), byte, n),
              crc.update_repeated(crc.start(), byte, m + n))
        << describe(p);
  }
}

TEST(CrcProperty, PatchEqualsRecomputing) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    const Bytes before = random.bytes(random.between(1, 500));
    Bytes after = before;
    std::vector<Range> ranges;
    for (std::uint64_t at = 0; at < before.size();) {
      const std::uint64_t begin = std::min<std::uint64_t>(at + random.between(0, 60), before.size());
      const std::uint64_t end =
          std::min<std::uint64_t>(begin + random.between(0, random.coin() ? 20 : 100), before.size());
      const Bytes replaced = random.bytes(end - begin);
      std::copy(replaced.begin(), replaced.end(), after.begin() + static_cast<std::ptrdiff_t>(begin));
      ranges.push_back({begin, end});
      at = end + 1;
    }
    std::vector<CrcChange> changes;
    for (const Range& range : ranges) {
      changes.push_back({range.begin, ByteView(before).subspan(range.begin, range.size()),
                         ByteView(after).subspan(range.begin, range.size())});
    }
    ASSERT_EQ(crc.patch(crc.compute(before), before.size(), changes), crc.compute(after)) << describe(p);
    for (std::size_t i = changes.size(); i > 1; --i)
      std::swap(changes[i - 1], changes[random.between(0, i - 1)]);
    ASSERT_EQ(crc.patch(crc.compute(before), before.size(), changes), crc.compute(after)) << describe(p);
  }
}

TEST(CrcProperty, OneBitHasThePredictedEffect) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    Bytes data = random.bytes(random.between(1, 60));
    const std::uint64_t before = crc.compute(data);
    const std::uint64_t offset = random.between(0, data.size() - 1);
    for (int bit = 0; bit < 8; ++bit) {
      const auto flip = static_cast<std::uint8_t>(1U << bit);
      data[offset] ^= flip;
      ASSERT_EQ(crc.compute(data), before ^ crc_bit_effect(crc, data.size(), offset, bit)) << describe(p);
      data[offset] ^= flip;
    }
  }
}

TEST(CrcProperty, AByteThatStandsAtManyOffsetsChangesWhatAllOfThemChange) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    const std::uint64_t length = random.between(1, 200);
    std::uint64_t powers = 0, power = 1, at = length - 1;
    std::array<std::uint64_t, 8> wanted{};
    for (std::uint64_t offset = length; offset-- > 0;) {
      if (random.between(0, 3) != 0) continue;
      power = crc.shift(power, at - offset);
      at = offset;
      powers ^= power;
      for (int bit = 0; bit < 8; ++bit)
        wanted[static_cast<std::size_t>(bit)] ^= crc_bit_effect(crc, length, offset, bit);
    }
    ASSERT_EQ(crc.byte_effects(powers), wanted) << describe(p);
  }
}

TEST(CrcProperty, TheKeptCrcIsTheRightOne) {
  Random random;
  const std::vector<CrcParameters> algorithms = many_algorithms(random);
  ASSERT_GT(algorithms.size(), 64U);  // more than are kept
  const Bytes data = random.bytes(50);
  for (int round = 0; round < 3; ++round) {
    for (const CrcParameters& p : algorithms)
      ASSERT_EQ(crc_of(p).compute(data), Crc(p).compute(data)) << describe(p);
  }
}

TEST(CrcProperty, ACrcBehindItsMessageLeavesTheResidue) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    if (p.width % 8 != 0 || p.refin != p.refout) continue;
    const Crc crc(p);
    Bytes data = random.bytes(random.between(0, 90));
    const std::uint64_t value = crc.compute(data);
    for (int i = 0; i < p.width / 8; ++i) {
      const int byte = p.refout ? i : p.width / 8 - 1 - i;
      data.push_back(static_cast<std::uint8_t>(value >> (8 * byte)));
    }
    ASSERT_EQ(crc.compute(data) ^ p.xorout, crc.residue()) << describe(p);
  }
}

TEST(CrcProperty, AdjacentBytesForceEveryValue) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc(p);
    const auto count = static_cast<std::uint64_t>((p.width + 7) / 8);
    Bytes data = random.bytes(random.between(count, 300));
    std::vector<std::uint64_t> places;
    const std::uint64_t first = random.between(0, data.size() - count);
    for (std::uint64_t i = 0; i < count; ++i) places.push_back(first + i);
    const std::uint64_t wanted = random.between(0, ~std::uint64_t{0} >> (64 - p.width));
    const Result<Bytes> xors = force_crc(crc, data.size(), places, crc.compute(data), wanted);
    ASSERT_THAT(xors, IsOk()) << describe(p);
    ASSERT_EQ(xors->size(), places.size());
    for (std::size_t i = 0; i < places.size(); ++i) data[places[i]] ^= (*xors)[i];
    ASSERT_EQ(reference::compute_crc(p, data), wanted) << describe(p);
  }
}

TEST(CrcProperty, ForcingSolvesExactlyWhatSomeBytesReach) {
  Random random;
  for (int round = 0; round < 6; ++round) {
    // Two bytes that lie anywhere, a CRC of 12 to 20 bits: few enough to list all values they reach.
    const CrcParameters p = random_crc(random, static_cast<int>(random.between(12, 20)));
    const Crc crc(p);
    Bytes data = random.bytes(40);
    const std::uint64_t now = crc.compute(data);
    const std::vector<std::uint64_t> places = {random.between(0, 39), random.between(0, 39)};
    std::vector<std::uint64_t> reachable = {now};
    for (const std::uint64_t place : places) {
      for (unsigned bit = 0; bit < 8; ++bit) {
        Bytes flipped = data;
        flipped[place] ^= static_cast<std::uint8_t>(1U << bit);
        const std::uint64_t effect = reference::compute_crc(p, flipped) ^ now;
        const std::size_t count = reachable.size();
        for (std::size_t i = 0; i < count; ++i) reachable.push_back(reachable[i] ^ effect);
      }
    }
    const std::set<std::uint64_t> values(reachable.begin(), reachable.end());
    for (int i = 0; i < 20; ++i) {
      const std::uint64_t wanted = random.between(0, ~std::uint64_t{0} >> (64 - p.width));
      const Result<Bytes> xors = force_crc(crc, data.size(), places, now, wanted);
      if (!values.contains(wanted)) {
        ASSERT_THAT(xors, FailsWith(Reason::kMapUnsolvable)) << describe(p);
        continue;
      }
      ASSERT_THAT(xors, IsOk()) << describe(p);
      Bytes forced = data;
      for (std::size_t k = 0; k < places.size(); ++k) forced[places[k]] ^= (*xors)[k];
      ASSERT_EQ(crc.compute(forced), wanted) << describe(p);
    }
  }
}

}  // namespace
}  // namespace calseal
