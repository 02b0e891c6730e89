#include "calseal/digest/sha256_many.h"

#include <gmock/gmock.h>

#include <string>

#include "calseal/digest/sha256_blocks.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

using detail::choose_sha256_engine;
using detail::Sha256Instructions;
using detail::Sha256Lane;

struct Published {
  Bytes message;
  Sha256 digest;
};

std::vector<Published> published() {
  return vector_rows<Published>("sha256.json", "rows", [](JsonObject& object) {
    object.text("name"), object.text("source");
    Bytes message = vector_message(object);
    return Published{std::move(message), parse_digest(object.text("sha256")).value()};
  });
}

TEST(Sha256Many, EveryPublishedMessageBesideEveryOther) {
  const std::vector<Published> all = published();
  for (const Sha256Engine engine : {Sha256Engine::kEvp, Sha256Engine::kLanes}) {
    if (engine == Sha256Engine::kLanes && best_sha256_engine() != engine) continue;
    for (const Published& a : all) {
      for (const Published& b : all) {
        const std::vector<Sha256> expected{a.digest, b.digest};
        ASSERT_EQ(compute_sha256_of_each({a.message, b.message}, engine), expected);
      }
    }
  }
}

TEST(Sha256Many, NoneAndOne) {
  EXPECT_TRUE(compute_sha256_of_each({}).empty());
  EXPECT_EQ(compute_sha256_of_each({view_of("abc")}), std::vector{compute_sha256(view_of("abc"))});
}

TEST(Sha256Streams, ANumberIsGivenAgainOnlyWhenItsMessageHasEnded) {
  Sha256Streams streams;
  const std::size_t first = streams.begin();
  const std::size_t second = streams.begin();
  EXPECT_NE(first, second);
  streams.update(first, view_of("abc"));
  EXPECT_EQ(streams.finish(first), compute_sha256(view_of("abc")));
  const std::size_t third = streams.begin();
  EXPECT_NE(third, second);
  streams.update(second, view_of("d"));
  streams.update(third, view_of("e"));
  EXPECT_EQ(streams.finish(second), compute_sha256(view_of("d")));
  EXPECT_EQ(streams.finish(third), compute_sha256(view_of("e")));
}

TEST(Sha256Streams, WhatIsDroppedIsForgotten) {
  Sha256Streams streams;
  const std::size_t dropped = streams.begin();
  const std::size_t kept = streams.begin();
  {
    const Bytes gone(1000, 0x5a);
    streams.update(dropped, gone);
    streams.drop(dropped);
  }
  EXPECT_EQ(streams.begin(), dropped);
  streams.update(kept, view_of("abc"));
  streams.flush();
  EXPECT_EQ(streams.finish(dropped), compute_sha256({}));
  EXPECT_EQ(streams.finish(kept), compute_sha256(view_of("abc")));
}

// --- the choice

// The processor's own, or wrong ones made of them.
const Sha256Instructions& real() { return *detail::sha256_instructions(); }

class Sha256Choice : public ::testing::Test {
 protected:
  void SetUp() override {
    if (detail::sha256_instructions() == nullptr) GTEST_SKIP() << "this processor has no such instructions";
  }
};

TEST(Sha256Engine, WithoutInstructionsItIsEvp) {
  EXPECT_EQ(choose_sha256_engine(nullptr, "default"), Sha256Engine::kEvp);
}

TEST_F(Sha256Choice, InstructionsThatGiveTheKnownAnswersAreTaken) {
  EXPECT_EQ(choose_sha256_engine(&real(), "default"), Sha256Engine::kLanes);
}

TEST_F(Sha256Choice, AnotherProviderOfLibcryptoIsAskedForEverything) {
  EXPECT_EQ(choose_sha256_engine(&real(), "fips"), Sha256Engine::kEvp);
}

TEST_F(Sha256Choice, WrongAnswersOfAnyKindLeadToEvp) {
  const auto nothing_in_second = [](Sha256Lane first, Sha256Lane, std::size_t blocks) {
    real().one(first, blocks);
  };
  const auto nothing_in_first = [](Sha256Lane, Sha256Lane second, std::size_t blocks) {
    real().one(second, blocks);
  };
  const auto swapped = [](Sha256Lane first, Sha256Lane second, std::size_t blocks) {
    real().two({first.state, second.at}, {second.state, first.at}, blocks);
  };
  const auto one_block_less = [](Sha256Lane lane, std::size_t blocks) { real().one(lane, blocks - 1); };
  for (const Sha256Instructions& wrong :
       {Sha256Instructions{real().one, nothing_in_second}, Sha256Instructions{real().one, nothing_in_first},
        Sha256Instructions{real().one, swapped}, Sha256Instructions{one_block_less, real().two}})
    EXPECT_EQ(choose_sha256_engine(&wrong, "default"), Sha256Engine::kEvp);
}

TEST(Sha256Engine, TheProviderIsTheDefaultOne) {
  EXPECT_EQ(detail::sha256_provider(), "default");
}

}  // namespace
}  // namespace calseal
