// The tree that is only read, and fields read out of it.
#include "calseal/base/json_tree.h"

#include <gtest/gtest.h>

#include "calseal/base/json_reader.h"
#include "support/matchers.h"

namespace calseal {
namespace {

JsonTree tree_of(std::string_view text) {
  auto tree = JsonTree::parse(text, "f");
  if (!tree) throw std::runtime_error(tree.error().found);
  return *std::move(tree);
}

TEST(JsonTree, ValuesStandInTheOrderOfTheText) {
  const JsonTree tree = tree_of(R"({"a":[1,[2,{"x":"\u0041"}],true],"b":"\n"})");
  ASSERT_EQ(tree.count(0), 2U);
  const JsonTree::Index list = JsonTree::first(0);
  EXPECT_EQ(tree.key(list), "a");
  ASSERT_EQ(tree.count(list), 3U);
  const JsonTree::Index one = JsonTree::first(list);
  EXPECT_EQ(tree.integer(one), 1U);
  const JsonTree::Index inner = tree.next(one);
  EXPECT_EQ(tree.kind(inner), JsonKind::kArray);
  const JsonTree::Index object = tree.next(JsonTree::first(inner));
  EXPECT_EQ(tree.text(JsonTree::first(object)), "A");
  EXPECT_TRUE(tree.boolean(tree.next(inner)));
  const JsonTree::Index last = tree.next(list);
  EXPECT_EQ(tree.key(last), "b");
  EXPECT_EQ(tree.text(last), "\n");
  EXPECT_EQ(tree.next(last), tree.next(0));
  EXPECT_TRUE(tree.key(one).empty());
}

TEST(JsonTree, ViewsOutliveAMove) {
  JsonTree tree = tree_of(R"(["s"])");
  const std::string_view text = tree.text(1);
  const JsonTree moved = std::move(tree);
  EXPECT_EQ(moved.text(1).data(), text.data());
  EXPECT_EQ(text, "s");
}

TEST(JsonTree, ACopyWritesTheSameText) {
  for (const std::string_view text :
       {R"({"a":[1,[2,{"x":"A"}],true,false],"b":"\n","c":{},"d":[]})", R"("only")", "7", "[]", "{}"}) {
    const JsonTree tree = tree_of(text);
    EXPECT_EQ(canonical_json(tree.copy(0)), text);
  }
  const JsonTree tree = tree_of(R"({"a":[1,[2]],"b":3})");
  EXPECT_EQ(canonical_json(tree.copy(JsonTree::first(0))), "[1,[2]]");
}

// Few keys are looked through and many hashed; a repeated one is found on either side.
TEST(JsonTree, EveryRepeatedKeyIsFound) {
  for (const std::size_t count : {1, 2, 15, 16, 17, 18, 40, 300}) {
    for (std::size_t again = 0; again < count; again += 1 + count / 7) {
      std::string text = "{";
      for (std::size_t i = 0; i < count; ++i) text += "\"k" + std::to_string(i) + "\":{\"k0\":[1]},";
      EXPECT_THAT(JsonTree::parse(text + "\"new\":1}", "f"), IsOk()) << count;
      EXPECT_THAT(JsonTree::parse(text + "\"k" + std::to_string(again) + "\":1}", "f"),
                  FailsWith(Reason::kJsonRepeatedKey))
          << again << " of " << count;
    }
  }
}

// 70 members are more than the reader's word of bits has.
TEST(JsonObject, KeysAreFoundInAnyOrderAndUnaskedOnesTold) {
  std::string text = "{";
  for (std::size_t i = 0; i < 70; ++i)
    text += (i == 0 ? "\"k" : ",\"k") + std::to_string(i) + "\":" + std::to_string(1000 + i);
  text += "}";
  const JsonTree tree = tree_of(text);
  const auto ask = [&](std::size_t step, std::size_t but) {
    JsonDocument document(text, "f");
    JsonObject object(JsonNode(document, tree));
    for (std::size_t i = 0, at = step; i < 70; ++i, at = (at + step) % 70) {
      if (at == but) continue;
      EXPECT_EQ(object.integer("k" + std::to_string(at), 0, 2000), 1000 + at) << step;
    }
    EXPECT_TRUE(object.has("k7"));
    EXPECT_FALSE(object.has("k"));
    EXPECT_FALSE(object.optional("none").has_value());
    EXPECT_TRUE(document.ok());
    object.done();
    return document.ok() ? std::string() : document.error().place;
  };
  for (const std::size_t step : {1, 69, 3, 27}) {  // each passes through all 70
    EXPECT_EQ(ask(step, 70), "");
    for (const std::size_t but : {0, 1, 63, 64, 69})
      EXPECT_TRUE(ask(step, but).starts_with("/k" + std::to_string(but) + " ")) << step << ", " << but;
  }
}

TEST(JsonNode, ItsPointerLeadsToIt) {
  const std::string text = R"({"a~/":[0,{"b":[[],[{"c":1}]]}],"d":2})";
  const JsonTree tree = tree_of(text);
  JsonDocument document(text, "f");
  JsonObject top(JsonNode(document, tree));
  const auto list = top.items("a~/", 9);
  JsonObject second(list[1]);
  const auto lists = second.items("b", 9);
  JsonObject deep(lists[1].items(9)[0]);
  EXPECT_EQ(top.node().pointer(), "");
  EXPECT_EQ(list[0].pointer(), "/a~0~1/0");
  EXPECT_EQ(lists[0].pointer(), "/a~0~1/1/b/0");
  EXPECT_EQ(deep.required("c")->pointer(), "/a~0~1/1/b/1/0/c");
  EXPECT_EQ(top.required("d")->pointer(), "/d");
}

TEST(JsonObject, OfSomethingElseHasNoMembers) {
  const std::string text = "[1]";
  const JsonTree tree = tree_of(text);
  JsonDocument document(text, "f");
  JsonObject object(JsonNode(document, tree));
  EXPECT_FALSE(object.has("a"));
  EXPECT_FALSE(object.required("a").has_value());
  object.done();
  EXPECT_EQ(document.error().reason, Reason::kJsonType);
}

}  // namespace
}  // namespace calseal
