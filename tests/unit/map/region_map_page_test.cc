// The example on docs/region-map.md is a map that the parser takes, and means what the page says about it.
#include <gtest/gtest.h>

#include "calseal/base/file.h"
#include "calseal/map/region_map.h"
#include "support/fixtures.h"
#include "support/matchers.h"

namespace calseal {
namespace {

std::string page() {
  const auto bytes = read_file(fixtures() + "/../docs/region-map.md", kRegionMapSizeLimit);
  return std::string(text_of(bytes.value()));
}

// The page's only JSON block.
Bytes example() {
  const std::string text = page();
  const std::string fence = "```json\n";
  const std::size_t begin = text.find(fence) + fence.size();
  const std::size_t end = text.find("```\n", begin);
  return {text.begin() + static_cast<std::ptrdiff_t>(begin), text.begin() + static_cast<std::ptrdiff_t>(end)};
}

TEST(RegionMapPage, ExampleMeansWhatThePageSays) {
  const auto map = parse_region_map(example(), "docs/region-map.md");
  ASSERT_THAT(map, IsOk());
  EXPECT_EQ(map->regions[1].name, "block[0]");
  EXPECT_EQ(map->regions[4].name, "block[3]");
  EXPECT_EQ(map->regions[4].place.range.begin, 0x80030300U);
  EXPECT_EQ(policy_at(*map, 0, 0x80001234), Policy::kLocked);
  EXPECT_EQ(policy_at(*map, 1, 0x400), Policy::kLocked);
  EXPECT_EQ(policy_at(*map, 0, 0x8002fffb), Policy::kEditable);
  EXPECT_EQ(policy_at(*map, 0, 0x8002fffc), Policy::kDerived);
  EXPECT_EQ(policy_at(*map, 0, 0x800303fe), Policy::kDerived);
  EXPECT_EQ(map->grade(), "draft");
}

TEST(RegionMapPage, NamesEveryReasonThatTheParserGives) {
  const std::string text = page();
  for (const Reason reason :
       {Reason::kFileEmpty, Reason::kFileTooLarge, Reason::kJsonSyntax, Reason::kJsonDepth,
        Reason::kJsonRepeatedKey, Reason::kJsonNumber, Reason::kJsonType, Reason::kJsonUnknownKey,
        Reason::kJsonMissingKey, Reason::kJsonValue, Reason::kTypeWrong, Reason::kFormatUnknown,
        Reason::kMapRange, Reason::kMapOverlap, Reason::kMapName, Reason::kMapPolicy, Reason::kMapChecksum,
        Reason::kMapUnsolvable}) {
    EXPECT_NE(text.find("`" + std::string(code(reason)) + "`"), std::string::npos) << code(reason);
  }
}

}  // namespace
}  // namespace calseal
