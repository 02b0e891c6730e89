#include "calseal/image/image.h"

#include <gmock/gmock.h>

namespace calseal {
namespace {

using ::testing::Each;
using ::testing::ElementsAre;

TEST(Image, NewMemoryIsAllFillAndUnknown) {
  const Memory memory = make_memory("flash", {0x80000000, 0x80000004}, 0xff);
  EXPECT_EQ(memory.name, "flash");
  EXPECT_EQ(memory.bytes.size(), 4U);
  EXPECT_THAT(memory.bytes, Each(0xff));
  EXPECT_TRUE(memory.known.empty());
  EXPECT_FALSE(memory.knows({0x80000000, 0x80000001}));
}

TEST(Image, ViewAndSpanCountFromTheOrigin) {
  Memory memory = make_memory("flash", {0x100, 0x104}, 0);
  memory.span({0x102, 0x104})[0] = 7;
  memory.known.add({0x102, 0x103});
  EXPECT_THAT(memory.bytes, ElementsAre(0, 0, 7, 0));
  EXPECT_THAT(memory.view({0x101, 0x103}), ElementsAre(0, 7));
  EXPECT_TRUE(memory.knows({0x102, 0x103}));
  EXPECT_FALSE(memory.knows({0x102, 0x104}));
}

// Room grows range by range, in any order; what is there keeps its bytes and its address.
TEST(Image, HoldsNoMoreThanItsRanges) {
  Memory memory = make_unread_memory("flash", {0x100, 0x10000000});
  EXPECT_TRUE(memory.bytes.empty());
  EXPECT_TRUE(memory.view({0x100, 0x101}).empty());
  memory.hold(RangeSet({0x8000, 0x8003}), 0xff);
  memory.span({0x8000, 0x8003})[1] = 7;
  RangeSet more({0x200, 0x202});
  more.add({0x8003, 0x8004});
  memory.hold(more, 0xee);
  EXPECT_THAT(memory.bytes, ElementsAre(0xee, 0xee, 0xff, 7, 0xff, 0xee));
  EXPECT_THAT(memory.view({0x8001, 0x8004}), ElementsAre(7, 0xff, 0xee));
  EXPECT_TRUE(memory.view({0x7fff, 0x8001}).empty());
  EXPECT_TRUE(memory.span({0x201, 0x203}).empty());
}

TEST(Image, HoldsAllOfAMemory) {
  Memory memory = make_unread_memory("flash", {0x10, 0x14});
  memory.hold(RangeSet({0x12, 0x13}), 1);
  memory.hold_all(0xff);
  EXPECT_THAT(memory.bytes, ElementsAre(0xff, 0xff, 1, 0xff));
  EXPECT_THAT(memory.view({0x11, 0x13}), ElementsAre(0xff, 1));
}

TEST(Image, FindsMemoriesByName) {
  Image image;
  image.memories.push_back(make_memory("flash", {0, 4}, 0));
  image.memories.push_back(make_memory("eeprom", {0, 2}, 0));
  const Image& constant = image;
  EXPECT_EQ(image.find("eeprom"), &image.memories[1]);
  EXPECT_EQ(constant.find("flash"), &image.memories[0]);
  EXPECT_EQ(image.find("ram"), nullptr);
}

}  // namespace
}  // namespace calseal
