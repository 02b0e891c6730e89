// Option files, what they need and exclude, what they may edit, and the account of what they leave.
#include <gtest/gtest.h>

#include "calseal/base/file.h"
#include "calseal/change/confine.h"
#include "calseal/option/account.h"
#include "calseal/option/carry.h"
#include "calseal/option/compose.h"
#include "calseal/option/make.h"
#include "support/fixtures.h"
#include "support/matchers.h"
#include "support/option_sample.h"

namespace calseal {
namespace {

class Options : public ::testing::Test {
 protected:
  Options() : map(option_map()) {
    Bytes bytes(0x400);
    for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<std::uint8_t>(i * 37 + i / 256);
    bytes[0x100] = 0xe8;  // limit: 1000 stored, 500 1/min
    bytes[0x101] = 0x03;
    base = option_base(map, std::move(bytes));
    plan = make_plan(map, base).value();
  }
  OptionFile at(const std::string& name, std::uint64_t address, Bytes after) const {
    return option_file(option_named(name, {edit_at(base, address, std::move(after))}));
  }
  std::vector<Reason> reasons_of(const std::vector<Error>& problems) const {
    std::vector<Reason> reasons;
    for (const Error& problem : problems) reasons.push_back(problem.reason);
    return reasons;
  }
  std::vector<Reason> composing(const std::vector<OptionFile>& options,
                                const StatedConditions& stated = {}) const {
    return reasons_of(lay_options(plan, base, options, stated).problems);
  }

  RegionMap map;
  Image base;
  Plan plan;
};

using Reasons = std::vector<Reason>;

TEST_F(Options, AFileIsItsOwnTextAgain) {
  Option option = option_named("a", {edit_at(base, 0x50, {1, 2}), {"", "row", 4, {1, 2}, {3, 4}}});
  option.purpose = "so that \"it\" runs";
  option.software_numbers = {"SW-00001"};
  option.map_digest = map.digest;
  option.requires_also = {{"b"}, {"e85"}, {"pump"}};
  option.excludes = {{"c"}, {}, {}};
  option.cautions = {"mind the pump"};
  option.note = "two\nlines";
  EXPECT_EQ(option_file(option).option, option);
}

TEST_F(Options, ThePagesExampleIsAnOption) {
  const Bytes bytes = read_file(fixtures() + "/../docs/options.md", kOptionSizeLimit).value();
  const std::string_view page = text_of(bytes);
  const std::size_t begin = page.find("```json\n") + 8;
  const std::string_view example = page.substr(begin, page.find("```\n", begin) - begin);
  const auto file = parse_option(Bytes(example.begin(), example.end()), "docs/options.md");
  ASSERT_THAT(file, IsOk());
  EXPECT_EQ(file->option.edits.size(), 2U);
  EXPECT_EQ(file->option.requires_also.hardware, std::vector<std::string>{"shift-lamp"});
}

TEST_F(Options, MalformedFilesAreRefused) {
  const std::string good = write_option(option_named("a", {edit_at(base, 0x50, {1, 2})}));
  const auto with = [&](std::string_view old, std::string_view now) {
    std::string text = good;
    text.replace(text.find(old), old.size(), now);
    return parse_option(Bytes(text.begin(), text.end()), "a.json");
  };
  EXPECT_THAT(with("option/1", "option/2"), FailsWith(Reason::kFormatUnknown));
  EXPECT_THAT(with("option/1", "region-map/1"), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(with("\"note\"", "\"run\""), FailsWith(Reason::kJsonUnknownKey));
  EXPECT_THAT(with("\"after\":\"0102\"", "\"after\":\"01\""), FailsWith(Reason::kOptionInvalid));
  EXPECT_THAT(with("\"options\":[]", "\"options\":[\"a\"]"), FailsWith(Reason::kOptionInvalid));
  EXPECT_THAT(parse_option({}, "a.json"), FailsWith(Reason::kFileEmpty));
  const auto twice = write_option(option_named("a", {edit_at(base, 0x50, {1, 2}), edit_at(base, 0x51, {1})}));
  EXPECT_THAT(parse_option(Bytes(twice.begin(), twice.end()), "a.json"), FailsWith(Reason::kOptionInvalid));
}

TEST_F(Options, FitTheirFamilySoftwareAndBytes) {
  EXPECT_EQ(composing({at("a", 0x50, {1})}), Reasons{});
  Option other = at("a", 0x50, {1}).option;
  other.controller = "transmission";
  EXPECT_EQ(composing({option_file(other)}), Reasons{Reason::kOptionForeign});
  other = at("a", 0x50, {1}).option;
  other.software_numbers = {"SW-00002", "SW-00003"};
  EXPECT_EQ(composing({option_file(other)}), Reasons{Reason::kOptionForeign});
  other.software_numbers = {"SW-00002", "SW-00001"};
  EXPECT_EQ(composing({option_file(other)}), Reasons{});
  other.map_digest = Sha256{};
  EXPECT_EQ(composing({option_file(other)}), Reasons{Reason::kOptionForeign});
  EXPECT_EQ(composing({option_file(option_named("a", {{"", "nothing", 0, {1}, {2}}}))}),
            Reasons{Reason::kOptionForeign});
  EXPECT_EQ(composing({option_file(option_named("a", {{"", "limit", 1, {1, 2}, {2, 3}}}))}),
            Reasons{Reason::kOptionForeign});
  EXPECT_EQ(composing({option_file(option_named("a", {{"flash", "", 0x3ff, {1, 2}, {2, 3}}}))}),
            Reasons{Reason::kOptionForeign});
  Option stale = at("a", 0x50, {1}).option;
  stale.edits[0].before[0] ^= 1;
  EXPECT_EQ(composing({option_file(stale)}), Reasons{Reason::kOptionBefore});
}

TEST_F(Options, EditOnlyWhatARevisionMayChange) {
  EXPECT_EQ(composing({at("locked", 0x20, {1})}), Reasons{Reason::kOptionPlace});
  EXPECT_EQ(composing({at("derived", 0x2f0, {1})}), Reasons{Reason::kOptionPlace});
  EXPECT_EQ(composing({at("learned", 0x300, {1})}), Reasons{Reason::kOptionPlace});
  EXPECT_EQ(composing({at("edge", 0x27f, {1, 2})}), Reasons{Reason::kOptionPlace});
  EXPECT_EQ(composing({at("patch", 0x390, {0x33, 0x44})}), Reasons{});
  EXPECT_EQ(composing({at("half", 0x390, {0x33})}), Reasons{Reason::kOptionPlace});
}

TEST_F(Options, NeedAndExcludeEachOtherFuelAndHardware) {
  Option a = at("a", 0x50, {1}).option;
  a.requires_also = {{"b"}, {"e85"}, {"pump"}};
  EXPECT_EQ(composing({option_file(a)}),
            (Reasons{Reason::kOptionRequires, Reason::kOptionRequires, Reason::kOptionRequires}));
  EXPECT_EQ(composing({option_file(a), at("b", 0x60, {1})}, {{"e85"}, {"pump", "injectors"}}), Reasons{});
  a.requires_also = {};
  a.excludes = {{"b"}, {"petrol"}, {}};
  EXPECT_EQ(composing({option_file(a), at("b", 0x60, {1})}, {{"petrol"}, {}}),
            (Reasons{Reason::kOptionExcludes, Reason::kOptionExcludes}));
  EXPECT_EQ(composing({option_file(a)}, {{"e85"}, {}}), Reasons{});
}

TEST_F(Options, OverlapsThatDisagreeNameBothTheItemAndTheBytes) {
  const Composition both =
      lay_options(plan, base, {at("b", 0x101, {7, 8, 9}), at("a", 0x100, {5, 6, 8, 1})}, {});
  ASSERT_EQ(reasons_of(both.problems), (Reasons{Reason::kOptionConflict, Reason::kOptionConflict}));
  EXPECT_EQ(both.problems[0].place, "options a and b, flash 0x00000101 (limit)");
  EXPECT_EQ(both.problems[0].found, "a puts 06, b puts 07");
  EXPECT_EQ(both.problems[1].found, "a puts 01, b puts 09");
  EXPECT_TRUE(same_bytes(both.image, base));
  // Two files of one name, and one file twice.
  EXPECT_EQ(composing({at("a", 0x50, {1}), at("a", 0x60, {1})}), Reasons{Reason::kOptionConflict});
  EXPECT_EQ(composing({at("a", 0x50, {1}), at("a", 0x50, {1})}), Reasons{});
}

TEST_F(Options, AreMadeFromTwoImagesByRegionAndItem) {
  Image edited = base;
  byte_at(edited, 0x50) ^= 1;
  byte_at(edited, 0x101) ^= 1;  // half of limit
  byte_at(edited, 0x17f) ^= 1;  // last of fuel
  byte_at(edited, 0x180) ^= 1;  // first of spark: of row
  byte_at(edited, 0x390) = 0x33;
  byte_at(edited, 0x391) = 0x44;
  byte_at(edited, 0x2f0) ^= 1;  // the checksum, stale or not
  byte_at(edited, 0x301) ^= 1;  // learned
  const auto made = make_option(plan, base, edited, "made", "Made");
  ASSERT_THAT(made, IsOk());
  EXPECT_EQ(made->left_out.size(), 2U);
  EXPECT_EQ(made->option.software_numbers, std::vector<std::string>{"SW-00001"});
  std::vector<std::string> edits;
  for (const OptionEdit& edit : made->option.edits)
    edits.push_back(edit.memory + edit.item + " " + std::to_string(edit.at) + " " +
                    std::to_string(edit.after.size()));
  EXPECT_EQ(edits,
            (std::vector<std::string>{"flash 80 1", "limit 0 2", "flash 383 1", "row 0 2", "flash 912 2"}));
  // Composing what was made gives what was edited, with its own checksum and the vehicle's learned bytes.
  Image expected = edited;
  byte_at(expected, 0x301) ^= 1;
  ASSERT_THAT(correct(plan, expected), IsOk());
  EXPECT_TRUE(same_bytes(compose(plan, base, {option_file(made->option)}, {})->image, expected));
  byte_at(edited, 0x20) ^= 1;
  EXPECT_THAT(make_option(plan, base, edited, "made", "Made"), FailsWith(Reason::kChangeLocked));
  EXPECT_THAT(make_option(plan, base, base, "made", "Made"), FailsWith(Reason::kOptionInvalid));
}

TEST_F(Options, AccountNamesWhoPutWhichByteWhere) {
  const OptionFile a = at("a", 0x100, {1, 2});
  const OptionFile b = at("b", 0x101, {2, 3});
  Image after = compose(plan, base, {a, b}, {})->image;
  byte_at(after, 0x60) ^= 1;
  ASSERT_THAT(correct(plan, after), IsOk());
  const Account account = *make_account(plan, base, after, {b, a});
  std::vector<std::string> lines;
  for (const AccountEntry& entry : account.entries) {
    std::string line = place_text(map, entry.place) + " " + std::string(origin_name(entry.origin));
    for (const std::string& option : entry.options) line += " " + option;
    lines.push_back(line + " " + entry.region + " " + entry.item);
  }
  ASSERT_GE(lines.size(), 4U);
  EXPECT_EQ(lines[0], "flash 0x00000060 unaccounted fuel ");
  EXPECT_EQ(lines[1], "flash 0x00000100 option a fuel limit");
  EXPECT_EQ(lines[2], "flash 0x00000101 option a b fuel limit");
  EXPECT_EQ(lines[3], "flash 0x00000102 option b fuel ");
  EXPECT_EQ(account.entries[4].origin, Origin::kDerived);
  EXPECT_FALSE(account.is_complete());
  EXPECT_EQ(account.bytes(Origin::kUnaccounted), 1U);
  EXPECT_EQ(account.shares[0].missing, 0U);

  // From this one to the next, where b was taken back: what a gives stays.
  const Image next = compose(plan, base, {a}, {})->image;
  const Image parent = compose(plan, base, {a, b}, {})->image;
  const Account step = *make_account(plan, parent, next, {a, b});
  ASSERT_GE(step.entries.size(), 1U);
  EXPECT_EQ(step.entries[0].origin, Origin::kTakenBack);
  EXPECT_EQ(step.entries[0].options, std::vector<std::string>{"b"});
  EXPECT_EQ(step.entries[0].place.range, (Range{0x102, 0x103}));
  EXPECT_TRUE(step.shares[1].taken_back);
  EXPECT_TRUE(step.is_complete());
}

TEST_F(Options, ChangesNameAnOptionOnlyWhereAllOfARangeIsIts) {
  const OptionFile a = at("a", 0x50, {1, 2});
  const OptionFile b = at("b", 0x51, {2, 3});
  const Account account = *make_account(plan, base, compose(plan, base, {a, b}, {})->image, {a, b});
  std::vector<Change> changes = {{{"flash", {0x50, 0x52}}, "fuel", ""},
                                 {{"flash", {0x52, 0x53}}, "fuel", ""},
                                 {{"flash", {0x2f0, 0x2f4}}, "", ""}};
  name_options(changes, map, account);
  EXPECT_EQ(changes[0].option, "a");
  EXPECT_EQ(changes[1].option, "b");
  EXPECT_EQ(changes[2].option, "");
  changes = {{{"flash", {0x50, 0x53}}, "fuel", ""}};
  name_options(changes, map, account);
  EXPECT_EQ(changes[0].option, "");
}

TEST_F(Options, AreCarriedByNameWhereTheMapNamesAnItem) {
  Image other = base;
  put_text(other, 0, "SW-00002");
  ASSERT_THAT(correct(plan, other), IsOk());
  const OptionFile named = option_file(option_named("a", {{"", "limit", 0, {0xe8, 3}, {0, 4}}}));
  const auto carried = carry_option(plan, base, named, plan, other);
  ASSERT_THAT(carried, IsOk());
  EXPECT_TRUE(carried->is_whole());
  EXPECT_EQ(carried->edits[0].outcome, CarryOutcome::kNamed);
  EXPECT_EQ(carried->option.software_numbers, std::vector<std::string>{"SW-00002"});
  byte_at(other, 0x100) = 0;
  const auto refused = carry_option(plan, base, named, plan, other);
  EXPECT_FALSE(refused->is_whole());
  EXPECT_EQ(refused->edits[0].outcome, CarryOutcome::kBefore);
  EXPECT_TRUE(refused->option.edits.empty());
}

}  // namespace
}  // namespace calseal
