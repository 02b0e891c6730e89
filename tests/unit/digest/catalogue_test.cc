#include "calseal/digest/catalogue.h"

#include <gmock/gmock.h>

#include <set>
#include <string>

#include "support/crc_reference.h"
#include "support/crc_vectors.h"
#include "support/matchers.h"

namespace calseal {
namespace {

TEST(Catalogue, HoldsThePublishedEntriesInOrder) {
  const auto& rows = catalogue_rows();
  ASSERT_EQ(rows.size(), 113U);
  ASSERT_EQ(crc_catalogue().size(), rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const CatalogueEntry& entry = crc_catalogue()[i];
    SCOPED_TRACE(rows[i].name);
    EXPECT_EQ(entry.name, rows[i].name);
    EXPECT_EQ(entry.width, rows[i].width);
    EXPECT_EQ(entry.poly, rows[i].poly);
    EXPECT_EQ(entry.init, rows[i].init);
    EXPECT_EQ(entry.refin, rows[i].refin);
    EXPECT_EQ(entry.refout, rows[i].refout);
    EXPECT_EQ(entry.xorout, rows[i].xorout);
    EXPECT_EQ(entry.check, rows[i].check);
    EXPECT_EQ(entry.residue, rows[i].residue);
    std::string aliases;
    for (const std::string& alias : rows[i].aliases) aliases += (aliases.empty() ? "" : ",") + alias;
    EXPECT_EQ(entry.aliases, aliases);
  }
}

const std::set<std::string> kAmbiguous = {"CRC-8", "CRC-16/CCITT", "CRC-24", "CRC-32", "CRC-CCITT"};

TEST(Catalogue, FindsEveryEntryByNameAndClearAlias) {
  std::set<std::string> ambiguous;
  for (const CatalogueRow& row : catalogue_rows()) {
    const CatalogueEntry* entry = find_catalogue_entry(row.name);
    ASSERT_NE(entry, nullptr) << row.name;
    EXPECT_EQ(entry->name, row.name);
    for (const std::string& alias : row.aliases) {
      if (find_catalogue_entry(alias) == nullptr) {
        ambiguous.insert(alias);
      } else {
        EXPECT_EQ(find_catalogue_entry(alias), entry) << alias;
      }
    }
  }
  EXPECT_EQ(ambiguous, kAmbiguous);
}

TEST(Catalogue, DoesNotGuess) {
  for (const char* name : {"", ",", "CRC-16", "CRC-64", "crc-32/iso-hdlc", "CRC-32/ISO-HDLC ",
                           "CRC-8/MAXIM,DOW-CRC", "DOW", "CRC-32/ISO"}) {
    EXPECT_EQ(find_catalogue_entry(name), nullptr) << name;
  }
}

TEST(Catalogue, EveryEntryUpTo64BitsHasValidParameters) {
  for (const CatalogueEntry& entry : crc_catalogue()) {
    SCOPED_TRACE(entry.name);
    const Result<CrcParameters> parameters = parameters_of(entry);
    if (entry.width > 64) {
      EXPECT_THAT(parameters, FailsWith(Reason::kMapChecksum));
    } else {
      ASSERT_THAT(parameters, IsOk());
      EXPECT_THAT(validate_crc(*parameters), IsOk());
      EXPECT_EQ(parameters->width, entry.width);
    }
  }
}

class CatalogueValue : public ::testing::TestWithParam<CatalogueRow> {};

TEST_P(CatalogueValue, DescribesWhatGivesThePublishedValues) {
  const CatalogueRow& row = GetParam();
  const CatalogueEntry* entry = find_catalogue_entry(row.name);
  ASSERT_NE(entry, nullptr);
  Bytes counting(256);
  for (std::size_t i = 0; i < counting.size(); ++i) counting[i] = static_cast<std::uint8_t>(i);
  const auto computed = [&](ByteView data) -> CrcValue {
    const reference::Wide value = reference::compute_crc(reference::widen(*entry), data);
    return {static_cast<std::uint64_t>(value), static_cast<std::uint64_t>(value >> 64)};
  };
  EXPECT_EQ(computed(view_of("123456789")), row.check);
  EXPECT_EQ(computed({}), row.empty);
  EXPECT_EQ(computed(Bytes(1, 0x00)), row.one_zero_byte);
  EXPECT_EQ(computed(counting), row.bytes_00_to_ff);
  EXPECT_EQ(computed(Bytes(32, 0xff)), row.bytes_ff_32);
}

INSTANTIATE_TEST_SUITE_P(Published, CatalogueValue, ::testing::ValuesIn(catalogue_rows()),
                         [](const auto& row) { return test_name(row.param.name); });

}  // namespace
}  // namespace calseal
