// Folders of region maps and of stocks: what is chosen, what is a conflict, what is left out, and which text
// of a map came after which.
#include "calseal/study/region_map_library.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>

#include "calseal/base/file.h"
#include "calseal/study/known_stock.h"
#include "calseal/study/map_history.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

using testing::HasSubstr;

// A folder that goes with the test.
class Folder : public testing::Test {
 protected:
  Folder() : path_(std::filesystem::temp_directory_path() / unique()) {
    std::filesystem::create_directories(path_);
  }
  ~Folder() override { std::filesystem::remove_all(path_); }

  void put(const std::string& name, const Bytes& bytes) const {
    std::filesystem::create_directories((path_ / name).parent_path());
    ASSERT_THAT(write_file((path_ / name).string(), bytes), IsOk());
  }
  void put(const std::string& name, const std::string& text) const {
    put(name, Bytes(text.begin(), text.end()));
  }
  std::string path(const std::string& name = "") const { return (path_ / name).string(); }

 private:
  static std::string unique() {
    const auto* info = testing::UnitTest::GetInstance()->current_test_info();
    return std::string("calseal-library-") + info->name() + "-" + std::to_string(Random().seed());
  }
  std::filesystem::path path_;
};

constexpr std::uint64_t kSize = 0x200;

// A map of one name and version, recognised by a byte at 0, editable from `from` on; checked by a sum at 4.
std::string map_text(const std::string& name, int version, const std::string& bytes = "a5",
                     std::uint64_t from = 0x180, const std::string& more = "") {
  MapBuilder builder;
  builder.memory("flash", 0, kSize)
      .region("tables", "editable", from, kSize - from)
      .field("software", "software-number", 8, 4, "ascii")
      .checksum("sum", R"({"sum": {"unit": 8, "accumulator": 16}})", {range_at(0x100, 0x100)},
                {slot_at(4, 2)})
      .recognise(R"({"all": [{"memory": "flash", "at": "0x00000000", "bytes": ")" + bytes + R"("}]})");
  std::string text = builder.text();
  const auto put = [&](const std::string& was, const std::string& is) {
    text.replace(text.find(was), was.size(), is);
  };
  put(R"("name": "sample")", R"("name": ")" + name + "\"");
  put(R"("version": 1)", R"("version": )" + std::to_string(version) + more);
  return text;
}

Bytes image_bytes(std::uint8_t first = 0xa5, const std::string& number = "SW01") {
  Bytes bytes(kSize, 0);
  bytes[0] = first;
  std::copy(number.begin(), number.end(), bytes.begin() + 8);
  unsigned sum = 0;
  for (std::size_t i = 0x100; i < kSize; ++i) {
    bytes[i] = static_cast<std::uint8_t>(i * 7);
    sum += bytes[i];
  }
  bytes[4] = static_cast<std::uint8_t>(sum);
  bytes[5] = static_cast<std::uint8_t>(sum >> 8);
  return bytes;
}

class Library : public Folder {
 protected:
  RegionMapLibrary library() const {
    Result<RegionMapLibrary> loaded = load_region_map_library(path());
    EXPECT_THAT(loaded, IsOk());
    return *std::move(loaded);
  }
  MapChoice choose(const RegionMapLibrary& maps) const {
    return choose_region_map(maps, {{"", "read.bin", image_bytes()}});
  }
};

TEST_F(Library, TheHighestVersionThatRecognisesTheReadIsChosen) {
  put("a2.json", map_text("one", 2));
  put("a10.json", map_text("one", 10));
  put("other.json", map_text("two", 99, "5a"));
  const RegionMapLibrary maps = library();
  const MapChoice choice = choose(maps);
  ASSERT_TRUE(choice.chosen);
  EXPECT_EQ(maps.maps[*choice.chosen].map.version, 10U);
  EXPECT_EQ(choice.conflict, "");
  for (const MapFit& fit : choice.fits) {
    const RegionMap& map = maps.maps[fit.map].map;
    EXPECT_EQ(fit.recognised, map.name == "one");
    EXPECT_EQ(fit.superseded_by, map.version == 2 ? path("a10.json") : "");
    EXPECT_EQ(fit.why_not.reason == Reason::kFamilyMismatch, map.name == "two");
  }
}

TEST_F(Library, TwoNamesOrTwoTextsOfOneVersionAreAConflictThatNamesBoth) {
  put("a.json", map_text("one", 1));
  put("b.json", map_text("two", 1));
  MapChoice choice = choose(library());
  EXPECT_FALSE(choice.chosen);
  EXPECT_THAT(choice.conflict, HasSubstr("several region maps recognise this read"));
  EXPECT_THAT(choice.conflict, HasSubstr("a.json (one version 1)"));
  EXPECT_THAT(choice.conflict, HasSubstr("b.json (two version 1)"));
  put("b.json", map_text("one", 1, "a5", 0x190));
  choice = choose(library());
  EXPECT_FALSE(choice.chosen);
  EXPECT_THAT(choice.conflict, HasSubstr("b.json (one version 1)"));
}

TEST_F(Library, TheSameTextTwiceIsNoConflict) {
  put("a.json", map_text("one", 1));
  put("copy.json", map_text("one", 1));
  EXPECT_TRUE(choose(library()).chosen);
}

TEST_F(Library, NothingThatFitsIsSaid) {
  put("other.json", map_text("two", 1, "5a"));
  const MapChoice choice = choose(library());
  EXPECT_FALSE(choice.chosen);
  EXPECT_EQ(choice.conflict, "no region map of the folder recognises this read");
}

TEST_F(Library, AFaultyMapDoesNotHideTheOthers) {
  put("a.json", map_text("one", 1));
  put("broken.json", std::string("{"));
  put("notes.txt", std::string("not looked at"));
  const RegionMapLibrary maps = library();
  EXPECT_EQ(maps.maps.size(), 1U);
  ASSERT_EQ(maps.faulty.size(), 1U);
  EXPECT_EQ(maps.faulty[0].reason, Reason::kJsonSyntax);
  EXPECT_EQ(maps.faulty[0].file, path("broken.json"));
  EXPECT_TRUE(choose(maps).chosen);
  EXPECT_THAT(load_region_map_library(path("none")), FailsWith(Reason::kFileMissing));
}

TEST_F(Library, SeveralPlacesAreOneLibrary) {
  put("one/a.json", map_text("one", 1));
  put("one/broken.json", std::string("{"));
  put("two/b.json", map_text("two", 1));
  put("c.json", map_text("three", 1));
  const auto maps = load_region_maps({path("two"), path("c.json"), path("one")});
  ASSERT_THAT(maps, IsOk());
  std::vector<std::string> files;
  for (const LibraryMap& map : maps->maps) files.push_back(map.file);
  EXPECT_EQ(files, (std::vector{path("two/b.json"), path("c.json"), path("one/a.json")}));
  EXPECT_EQ(maps->faulty.size(), 1U);
  EXPECT_THAT(load_region_maps({path("one"), path("one/broken.json")}), FailsWith(Reason::kJsonSyntax));
  EXPECT_THAT(load_region_maps({path("one"), path("none")}), FailsWith(Reason::kFileMissing));
}

TEST_F(Library, HistoryFollowsVersionsAndSaysWhatBecameEditable) {
  put("v1.json", map_text("one", 1));
  put("v2.json", map_text("one", 2, "a5", 0x170));
  put("v2-again.json", map_text("one", 2, "a5", 0x170));
  put("v5.json", map_text("one", 5, "a5", 0x190));
  const RegionMapLibrary maps = library();
  const std::vector<MapHistory> histories = histories_of(maps);
  ASSERT_EQ(histories.size(), 1U);
  const MapHistory& history = histories[0];
  EXPECT_EQ(history.conflicts, std::vector<std::string>());
  ASSERT_EQ(history.versions.size(), 3U);
  EXPECT_FALSE(history.versions[0].before);
  EXPECT_EQ(history.versions[1].also_as.size(), 1U);
  ASSERT_TRUE(history.versions[1].diff);
  EXPECT_TRUE(history.versions[1].diff->widens);
  ASSERT_EQ(history.versions[1].diff->policies.size(), 1U);
  EXPECT_EQ(history.versions[1].diff->policies[0].range, (Range{0x170, 0x180}));
  EXPECT_EQ(history.versions[1].diff->policies[0].after, Policy::kEditable);
  EXPECT_EQ(history.versions[2].before, history.versions[1].map);
  EXPECT_FALSE(history.versions[2].declared);
  EXPECT_FALSE(history.versions[2].diff->widens);
}

TEST_F(Library, ADeclaredPredecessorGoesBeforeTheNumber) {
  const std::string first = map_text("one", 1);
  const std::string after_first = R"(, "succeeds": ")" + digest_text(compute_sha256(view_of(first))) + "\"";
  put("v1.json", first);
  put("v2.json", map_text("one", 2, "a5", 0x170));
  put("v3.json", map_text("one", 3, "a5", 0x180, after_first));
  const RegionMapLibrary maps = library();
  const MapHistory history = histories_of(maps).at(0);
  ASSERT_EQ(history.versions.size(), 3U);
  EXPECT_TRUE(history.versions[2].declared);
  EXPECT_EQ(history.versions[2].before, history.versions[0].map);
  EXPECT_FALSE(history.versions[2].diff->widens);
  ASSERT_EQ(history.conflicts.size(), 1U);  // versions 2 and 3 both come after 1
  EXPECT_THAT(history.conflicts[0], HasSubstr("both succeed"));
}

TEST_F(Library, HistoryNamesItsConflicts) {
  put("a.json", map_text("one", 1));
  put("b.json", map_text("one", 1, "a5", 0x190));
  put("c.json", map_text("one", 2, "a5", 0x190));
  put("d.json", map_text("two", 3, "a5", 0x190, R"(, "succeeds": ")" + std::string(64, '0') + "\""));
  const std::vector<MapHistory> histories = histories_of(library());
  ASSERT_EQ(histories.size(), 2U);
  ASSERT_EQ(histories[0].conflicts.size(), 1U);
  EXPECT_THAT(histories[0].conflicts[0], HasSubstr("two texts of one version"));
  EXPECT_FALSE(histories[0].versions[2].before);  // of two, neither is more likely
  ASSERT_EQ(histories[1].conflicts.size(), 1U);
  EXPECT_THAT(histories[1].conflicts[0], HasSubstr("which is not in the folder"));
}

TEST_F(Folder, StocksAreWhatFitsTheMapAndHolds) {
  const std::string text = map_text("one", 1);
  const auto map = parse_region_map(Bytes(text.begin(), text.end()), "one.json");
  ASSERT_THAT(map, IsOk());
  put("a.bin", image_bytes());
  put("b/flash.bin", image_bytes(0xa5, "SW02"));
  put("foreign.bin", image_bytes(0x5a));
  Bytes failing = image_bytes();
  failing[0x120] ^= 1;
  put("failing.bin", failing);
  put("short.bin", Bytes(17, 0xa5));
  put("empty.bin", Bytes());
  put("c/flash.bin", image_bytes());
  put("c/more.bin", image_bytes());  // two files for one memory
  const auto stocks = load_known_stocks(*map, path());
  ASSERT_THAT(stocks, IsOk());
  std::vector<std::string> names;
  for (const KnownStock& stock : *stocks) names.push_back(stock.name);
  EXPECT_EQ(names, (std::vector<std::string>{"a.bin", "b"}));
  EXPECT_EQ((*stocks)[1].image.memories[0].bytes, image_bytes(0xa5, "SW02"));
  EXPECT_THAT(load_known_stocks(*map, path("none")), FailsWith(Reason::kFileMissing));
}

}  // namespace
}  // namespace calseal
