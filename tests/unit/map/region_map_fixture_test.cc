// Every map under fixtures/region_maps: the good ones are taken, each bad one is refused for its reason at
// its place.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <sstream>
#include <stdexcept>

#include "calseal/base/file.h"
#include "calseal/map/region_map.h"
#include "support/fixtures.h"
#include "support/matchers.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> good_maps() {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(fixtures() + "/region_maps/good"))
    names.push_back(entry.path().filename());
  std::sort(names.begin(), names.end());
  return names;
}

using Lines = std::vector<std::string>;

struct BadMapRow {
  std::string name;
  Reason reason = Reason::kInternal;
  std::string place;
  Lines text;
};

// fixtures/region_maps/bad.txt, whose README says how it is written.
struct BadMaps {
  std::map<std::string, Lines> bases;
  std::vector<BadMapRow> rows;
};

Lines lines_of(const std::string& text) {
  Lines lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

std::string text_of_lines(const Lines& lines) {
  std::string text;
  for (const std::string& line : lines) text += line + "\n";
  return text;
}

// The base with one hunk's old lines, which stand there once, replaced by its new ones.
void apply_hunk(Lines& base, const Lines& old_lines, const Lines& new_lines, const std::string& name) {
  const auto at = std::search(base.begin(), base.end(), old_lines.begin(), old_lines.end());
  const bool once =
      at != base.end() && std::search(at + 1, base.end(), old_lines.begin(), old_lines.end()) == base.end();
  if (!once && !(base.empty() && old_lines.empty()))
    throw std::runtime_error("bad.txt: " + name + ": a hunk that does not fit");
  const auto place = base.erase(at, at + static_cast<std::ptrdiff_t>(old_lines.size()));
  base.insert(place, new_lines.begin(), new_lines.end());
}

Lines patched(Lines base, const Lines& patch, const std::string& name) {
  Lines old_lines, new_lines;
  for (const std::string& line : patch) {
    if (line == "@@") {
      apply_hunk(base, old_lines, new_lines, name);
      old_lines.clear();
      new_lines.clear();
      continue;
    }
    if (line[0] != '+') old_lines.push_back(line.substr(1));
    if (line[0] != '-') new_lines.push_back(line.substr(1));
  }
  apply_hunk(base, old_lines, new_lines, name);
  return base;
}

BadMaps read_bad_maps() {
  BadMaps maps;
  const auto text = read_file(fixtures() + "/region_maps/bad.txt", kRegionMapSizeLimit);
  const Lines lines = lines_of(std::string(text_of(text.value())));
  for (std::size_t i = 0; i < lines.size();) {
    const std::string head = lines[i].substr(4);
    std::size_t end = i + 1;
    while (end < lines.size() && !lines[end].starts_with("=== ")) ++end;
    const Lines body(lines.begin() + static_cast<std::ptrdiff_t>(i) + 1,
                     lines.begin() + static_cast<std::ptrdiff_t>(end));
    i = end;
    if (head.starts_with("base ")) {
      maps.bases[head.substr(5)] = body;
      continue;
    }
    const std::string name = head.substr(0, head.find(" of "));
    const std::string base = head.substr(head.find(" of ") + 4);
    const std::size_t bracket = body.at(0).find("] ");
    const auto reason = find_reason(body[0].substr(1, bracket - 1));
    const Lines patch(body.begin() + 2, body.end());
    maps.rows.push_back({name, reason.value(), body[0].substr(bracket + 2),
                         patched(base == "nothing" ? Lines{} : maps.bases.at(base), patch, name)});
  }
  return maps;
}

const BadMaps& bad_maps() {
  static const BadMaps maps = read_bad_maps();
  return maps;
}

Result<RegionMap> parse_lines(const Lines& lines, const std::string& name) {
  const std::string text = text_of_lines(lines);
  return parse_region_map(Bytes(text.begin(), text.end()), name);
}

std::string in_words(std::string name) {
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
}

std::string good_name(const testing::TestParamInfo<std::string>& test) {
  return in_words(fs::path(test.param).stem());
}

std::string bad_name(const testing::TestParamInfo<BadMapRow>& test) { return in_words(test.param.name); }

class GoodMap : public testing::TestWithParam<std::string> {};

TEST_P(GoodMap, IsTaken) {
  auto text = read_file(fixtures() + "/region_maps/good/" + GetParam(), kRegionMapSizeLimit);
  ASSERT_THAT(text, IsOk());
  const auto map = parse_region_map(std::move(*text), GetParam());
  ASSERT_THAT(map, IsOk());
  EXPECT_EQ(map->digest, compute_sha256(map->text));
}

INSTANTIATE_TEST_SUITE_P(Fixtures, GoodMap, testing::ValuesIn(good_maps()), good_name);

class BadMap : public testing::TestWithParam<BadMapRow> {};

TEST_P(BadMap, IsRefusedForItsReasonAtItsPlace) {
  const BadMapRow& row = GetParam();
  const auto map = parse_lines(row.text, row.name);
  ASSERT_THAT(map, FailsWith(row.reason));
  const std::string& place = map.error().place;
  EXPECT_TRUE(place.starts_with(row.place + " (line ") || place.starts_with(row.place + ","))
      << place << ", and not " << row.place;
  EXPECT_EQ(map.error().file, row.name);
}

INSTANTIATE_TEST_SUITE_P(Fixtures, BadMap, testing::ValuesIn(bad_maps().rows), bad_name);

TEST(RegionMapFixtures, WhatBadMapsDifferFromIsTaken) {
  for (const auto& [name, text] : bad_maps().bases) EXPECT_THAT(parse_lines(text, name), IsOk()) << name;
}

TEST(RegionMapFixtures, EveryReasonOfTheFormatIsAmongThem) {
  for (const Reason reason :
       {Reason::kJsonSyntax, Reason::kJsonRepeatedKey, Reason::kJsonNumber, Reason::kJsonType,
        Reason::kJsonUnknownKey, Reason::kJsonMissingKey, Reason::kJsonValue, Reason::kTypeWrong,
        Reason::kFormatUnknown, Reason::kMapRange, Reason::kMapOverlap, Reason::kMapName, Reason::kMapPolicy,
        Reason::kMapChecksum, Reason::kMapUnsolvable}) {
    EXPECT_TRUE(std::any_of(bad_maps().rows.begin(), bad_maps().rows.end(), [&](const auto& row) {
      return row.reason == reason;
    })) << code(reason);
  }
}

TEST(RegionMapFixtures, EmptyAndHugeFilesAreRefusedUnread) {
  EXPECT_THAT(parse_region_map({}, "m"), FailsWith(Reason::kFileEmpty));
  EXPECT_THAT(parse_region_map(Bytes(kRegionMapSizeLimit + 1, ' '), "m"), FailsWith(Reason::kFileTooLarge));
}

}  // namespace
}  // namespace calseal
