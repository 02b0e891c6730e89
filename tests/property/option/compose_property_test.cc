// Random sets of options against a plain oracle that keeps one map from address to value for each option.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "calseal/change/confine.h"
#include "calseal/option/account.h"
#include "calseal/option/compose.h"
#include "calseal/option/make.h"
#include "support/matchers.h"
#include "support/option_sample.h"
#include "support/random.h"

namespace calseal {
namespace {

constexpr int kSets = 1000;

using Values = std::map<std::uint64_t, std::uint8_t>;               // by address
using Clash = std::tuple<std::string, std::string, std::uint64_t>;  // two names, address

struct Drawn {
  std::vector<OptionFile> files;
  std::map<std::string, Values> values;
};

// One option: edits that share no byte; now and then the values that everybody else gives, or the base's own.
OptionFile draw(Random& random, const Image& base, const std::string& name, const Bytes& common,
                bool agreeable, Values& values) {
  std::vector<OptionEdit> edits;
  bool changes = false;
  for (std::uint64_t count = random.between(1, 5); count > 0 || !changes;) {
    const std::uint64_t size = random.between(1, 12);
    const std::uint64_t at = random.between(0x40, 0x280 - size);
    const auto taken = [&](std::uint64_t a) { return values.contains(a); };
    bool free = true;
    for (std::uint64_t a = at; a < at + size; ++a) free = free && !taken(a);
    if (!free) continue;
    Bytes after;
    for (std::uint64_t a = at; a < at + size; ++a) {
      const std::uint8_t own = byte_at(const_cast<Image&>(base), a);
      const std::uint64_t kind = random.between(0, 9);
      after.push_back(agreeable || kind < 6 ? common[a] : kind < 8 ? own : static_cast<std::uint8_t>(kind));
      values[a] = after.back();
      changes = changes || after.back() != own;
    }
    edits.push_back(edit_at(base, at, std::move(after)));
    if (count > 0) --count;
  }
  return option_file(option_named(name, std::move(edits)));
}

Drawn draw_set(Random& random, const Image& base) {
  Drawn drawn;
  const Bytes common = random.bytes(0x400);
  const bool agreeable = random.coin();
  const std::uint64_t count = random.between(2, 6);
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::string name = "option-" + std::to_string(i);
    drawn.files.push_back(draw(random, base, name, common, agreeable, drawn.values[name]));
  }
  return drawn;
}

std::set<Clash> clashes_of(const Drawn& drawn) {
  std::set<Clash> clashes;
  for (auto a = drawn.values.begin(); a != drawn.values.end(); ++a) {
    for (auto b = std::next(a); b != drawn.values.end(); ++b) {
      for (const auto& [at, value] : a->second) {
        const auto other = b->second.find(at);
        if (other != b->second.end() && other->second != value) clashes.emplace(a->first, b->first, at);
      }
    }
  }
  return clashes;
}

std::set<Clash> clashes_of(const Composition& composition) {
  std::set<Clash> clashes;
  for (const OptionConflict& conflict : composition.conflicts) {
    for (std::uint64_t at = conflict.place.range.begin; at < conflict.place.range.end; ++at)
      clashes.emplace(conflict.first, conflict.second, at);
  }
  return clashes;
}

Image by_hand(const Image& base, const Drawn& drawn, const std::string& without) {
  Image image = base;
  for (const auto& [name, values] : drawn.values) {
    if (name == without) continue;
    for (const auto& [at, value] : values) byte_at(image, at) = value;
  }
  return image;
}

TEST(ComposeProperty, IsTheBytesInAnyOrderWithoutAnyAndInAnyGrouping) {
  Random random;
  const RegionMap map = option_map();
  int composed = 0;
  int refused = 0;
  for (int set = 0; set < kSets; ++set) {
    const Image base = option_base(map, random.bytes(0x400));
    const Plan plan = make_plan(map, base).value();
    Drawn drawn = draw_set(random, base);
    const Composition laid = lay_options(plan, base, drawn.files, {});
    const std::set<Clash> clashes = clashes_of(drawn);
    ASSERT_EQ(clashes_of(laid), clashes) << "set " << set;
    ASSERT_EQ(laid.holds(), clashes.empty());
    std::vector<OptionFile> other = drawn.files;
    std::ranges::reverse(other);
    std::swap(other[random.between(0, other.size() - 1)], other.front());
    const Result<Composition> again = compose(plan, base, other, {});
    ASSERT_THAT(again, IsOk());
    if (!clashes.empty()) {
      ++refused;
      ASSERT_EQ(again->problems, laid.problems);
      ASSERT_TRUE(same_bytes(again->image, base));
      continue;
    }
    ++composed;
    // The bytes, before and after correction, in whatever order.
    Image expected = by_hand(base, drawn, "");
    ASSERT_TRUE(same_bytes(laid.image, expected)) << "set " << set;
    ASSERT_THAT(correct(plan, expected), IsOk());
    ASSERT_TRUE(same_bytes(again->image, expected)) << "set " << set;
    ASSERT_THAT(require_confined(prove_confinement(plan, base, expected)), IsOk());
    // Without one of them.
    const std::size_t gone = random.between(0, drawn.files.size() - 1);
    Image without = by_hand(base, drawn, drawn.files[gone].option.name);
    ASSERT_THAT(correct(plan, without), IsOk());
    std::vector<OptionFile> rest = drawn.files;
    rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(gone));
    ASSERT_TRUE(same_bytes(compose(plan, base, rest, {})->image, without)) << "set " << set;
    // Grouped: what some of them give, made into one option, beside the rest.
    const auto half = static_cast<std::ptrdiff_t>(random.between(1, drawn.files.size() - 1));
    const std::vector<OptionFile> some(drawn.files.begin(), drawn.files.begin() + half);
    std::vector<OptionFile> grouped_files(drawn.files.begin() + half, drawn.files.end());
    const auto made = make_option(plan, base, compose(plan, base, some, {})->image, "grouped", "Grouped");
    ASSERT_THAT(made, IsOk());
    grouped_files.push_back(option_file(made->option));
    const Composition grouped = *compose(plan, base, grouped_files, {});
    // Whole elements of items: an option that changes half of one claims the rest as it is.
    if (grouped.holds()) {
      ASSERT_TRUE(same_bytes(grouped.image, expected)) << "set " << set;
    }
    // Every byte has its owner.
    const Account account = *make_account(plan, base, expected, drawn.files);
    ASSERT_TRUE(account.is_complete());
    std::uint64_t accounted = 0;
    for (const AccountEntry& entry : account.entries) {
      accounted += entry.place.range.size();
      if (entry.origin != Origin::kOption) continue;
      for (const auto& [name, values] : drawn.values) {
        for (std::uint64_t at = entry.place.range.begin; at < entry.place.range.end; ++at)
          ASSERT_EQ(values.contains(at), std::ranges::find(entry.options, name) != entry.options.end());
      }
    }
    std::uint64_t differing = 0;
    for (std::uint64_t at = 0; at < 0x400; ++at)
      differing += byte_at(expected, at) != base.memories[0].bytes[at];
    ASSERT_EQ(accounted, differing);
  }
  EXPECT_GT(composed, kSets / 4);
  EXPECT_GT(refused, kSets / 8);
}

}  // namespace
}  // namespace calseal
