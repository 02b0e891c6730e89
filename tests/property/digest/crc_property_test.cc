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
  const Result<CrcParameters> parameters = parameters_of(entry);
  if (!parameters) GTEST_SKIP() << "wider than 64 bits";
  const Crc crc(*parameters);
  const Bytes data = random.bytes(300 + 16);
  for (std::size_t length = 0; length <= 300; ++length) {
    const ByteView piece = ByteView(data).subspan(length % 16, length);  // every alignment, too
    ASSERT_EQ(crc.compute(piece), reference::compute_crc(*parameters, piece)) << length;
  }
}

std::vector<CatalogueEntry> all_entries() { return {crc_catalogue().begin(), crc_catalogue().end()}; }

INSTANTIATE_TEST_SUITE_P(Catalogue, CrcEntry, ::testing::ValuesIn(all_entries()),
                         [](const auto& row) { return test_name(row.param.name); });

// One random algorithm of each width and one of each in the catalogue.
std::vector<CrcParameters> many_crcs(Random& random) {
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
  for (const CrcParameters& p : many_crcs(random)) {
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
  for (const CrcParameters& p : many_crcs(random)) {
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

TEST(CrcProperty, OneBitHasThePredictedEffect) {
  Random random;
  for (const CrcParameters& p : many_crcs(random)) {
    const Crc crc(p);
    Bytes data = random.bytes(random.between(1, 60));
    const std::uint64_t before = crc.compute(data);
    const std::uint64_t offset = random.between(0, data.size() - 1);
    const auto effects = crc.byte_effects(crc.shift(1, data.size() - 1 - offset));
    for (std::size_t bit = 0; bit < 8; ++bit) {
      const auto flip = static_cast<std::uint8_t>(1U << bit);
      data[offset] ^= flip;
      ASSERT_EQ(crc.compute(data), before ^ effects[bit]) << describe(p);
      data[offset] ^= flip;
    }
  }
}

TEST(CrcProperty, AByteThatStandsAtManyOffsetsChangesWhatAllOfThemChange) {
  Random random;
  for (const CrcParameters& p : many_crcs(random)) {
    const Crc crc(p);
    const Bytes data = random.bytes(random.between(1, 200));
    std::uint64_t powers = 0, power = 1, at = data.size() - 1;
    std::vector<std::size_t> offsets;
    for (std::size_t offset = data.size(); offset-- > 0;) {
      if (random.between(0, 3) != 0) continue;
      power = crc.shift(power, at - offset);
      at = offset;
      powers ^= power;
      offsets.push_back(offset);
    }
    const auto effects = crc.byte_effects(powers);
    for (std::size_t bit = 0; bit < 8; ++bit) {
      Bytes flipped = data;
      for (const std::size_t offset : offsets) flipped[offset] ^= static_cast<std::uint8_t>(1U << bit);
      ASSERT_EQ(crc.compute(flipped), crc.compute(data) ^ effects[bit]) << describe(p);
    }
  }
}

TEST(CrcProperty, TheKeptCrcIsTheRightOne) {
  Random random;
  const std::vector<CrcParameters> algorithms = many_crcs(random);
  ASSERT_GT(algorithms.size(), 64U);  // more than are kept
  const Bytes data = random.bytes(50);
  for (int round = 0; round < 3; ++round) {
    for (const CrcParameters& p : algorithms)
      ASSERT_EQ(crc_of(p).compute(data), Crc(p).compute(data)) << describe(p);
  }
}

TEST(CrcProperty, ACrcBehindItsMessageLeavesTheResidue) {
  Random random;
  for (const CrcParameters& p : many_crcs(random)) {
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

}  // namespace
}  // namespace calseal
