// Every map under fixtures/region_maps: the good ones are taken, each bad one is refused for its reason at
// its place.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <map>

#include "calseal/base/file.h"
#include "calseal/base/json.h"
#include "calseal/map/region_map.h"
#include "support/fixtures.h"
#include "support/matchers.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> maps_in(const std::string& folder) {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(fixtures() + "/region_maps/" + folder)) {
    if (entry.path().filename() != "expected.json") names.push_back(entry.path().filename());
  }
  std::sort(names.begin(), names.end());
  return names;
}

Result<RegionMap> parse_fixture(const std::string& name) {
  CALSEAL_ASSIGN(Bytes text, read_file(fixtures() + "/region_maps/" + name, kRegionMapSizeLimit));
  return parse_region_map(std::move(text), name);
}

std::string case_name(const testing::TestParamInfo<std::string>& info) {
  std::string name = fs::path(info.param).stem();
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
}

struct Expected {
  Reason reason;
  std::string place;
};

const std::map<std::string, Expected>& expectations() {
  static const auto table = [] {
    std::map<std::string, Expected> read;
    const auto text = read_file(fixtures() + "/region_maps/bad/expected.json", kRegionMapSizeLimit);
    const auto tree = parse_json(text_of(text.value()), "expected.json");
    for (const auto& [name, row] : tree.value().members) {
      read[name] = {find_reason(row.find("reason")->text).value(), row.find("place")->text};
    }
    return read;
  }();
  return table;
}

class GoodMap : public testing::TestWithParam<std::string> {};

TEST_P(GoodMap, IsTaken) {
  const auto map = parse_fixture("good/" + GetParam());
  ASSERT_THAT(map, IsOk());
  EXPECT_EQ(map->digest, compute_sha256(map->text));
}

INSTANTIATE_TEST_SUITE_P(Fixtures, GoodMap, testing::ValuesIn(maps_in("good")), case_name);

class BadMap : public testing::TestWithParam<std::string> {};

TEST_P(BadMap, IsRefusedForItsReasonAtItsPlace) {
  const auto row = expectations().find(GetParam());
  ASSERT_NE(row, expectations().end()) << "not in expected.json";
  const auto map = parse_fixture("bad/" + GetParam());
  ASSERT_THAT(map, FailsWith(row->second.reason));
  const std::string& place = map.error().place;
  EXPECT_TRUE(place.starts_with(row->second.place + " (line ") || place.starts_with(row->second.place + ","))
      << place << ", and not " << row->second.place;
  EXPECT_EQ(map.error().file, "bad/" + GetParam());
}

INSTANTIATE_TEST_SUITE_P(Fixtures, BadMap, testing::ValuesIn(maps_in("bad")), case_name);

TEST(RegionMapFixtures, EveryExpectationHasItsFile) {
  const auto files = maps_in("bad");
  for (const auto& [name, row] : expectations()) {
    EXPECT_TRUE(std::binary_search(files.begin(), files.end(), name)) << name;
  }
}

TEST(RegionMapFixtures, EveryReasonOfTheFormatIsAmongThem) {
  for (const Reason reason :
       {Reason::kJsonSyntax, Reason::kJsonRepeatedKey, Reason::kJsonNumber, Reason::kJsonType,
        Reason::kJsonUnknownKey, Reason::kJsonMissingKey, Reason::kJsonValue, Reason::kTypeWrong,
        Reason::kFormatUnknown, Reason::kMapRange, Reason::kMapOverlap, Reason::kMapName, Reason::kMapPolicy,
        Reason::kMapChecksum, Reason::kMapUnsolvable}) {
    EXPECT_TRUE(std::any_of(expectations().begin(), expectations().end(), [&](const auto& row) {
      return row.second.reason == reason;
    })) << code(reason);
  }
}

TEST(RegionMapFixtures, EmptyAndHugeFilesAreRefusedUnread) {
  EXPECT_THAT(parse_region_map({}, "m"), FailsWith(Reason::kFileEmpty));
  EXPECT_THAT(parse_region_map(Bytes(kRegionMapSizeLimit + 1, ' '), "m"), FailsWith(Reason::kFileTooLarge));
}

}  // namespace
}  // namespace calseal
