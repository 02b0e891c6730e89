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
