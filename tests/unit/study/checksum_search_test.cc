#include "calseal/study/checksum_search.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <cstring>

#include "calseal/study/map_draft.h"

namespace calseal {
namespace {

using ::testing::IsEmpty;
using ::testing::SizeIs;

// Words that look like code, with padding up to each edge.
Bytes invented_image(std::uint64_t seed, std::size_t size, const std::vector<std::size_t>& edges) {
  Bytes image(size, 0xff);
  std::uint64_t state = seed * 0x9e3779b97f4a7c15U + 1;
  std::size_t begin = 0;
  for (const std::size_t edge : edges) {
    for (std::size_t i = begin; i + 300 < edge; ++i) {
      state = state * 6364136223846793005U + 1442695040888963407U;
      image[i] = static_cast<std::uint8_t>(i % 4 == 3 ? 0x40 + (state >> 60) : (state >> 56) & (state >> 40));
    }
    begin = edge;
  }
  return image;
}

void put(Bytes& image, std::size_t at, std::uint64_t value, std::size_t size, bool big) {
  for (std::size_t i = 0; i < size; ++i)
    image[at + i] = static_cast<std::uint8_t>(value >> (8 * (big ? size - 1 - i : i)));
}

std::uint64_t crc32_of(const Bytes& image, std::size_t begin, std::size_t end) {
  std::uint32_t crc = 0xffffffff;
  for (std::size_t i = begin; i < end; ++i) {
    crc ^= image[i];
    for (int bit = 0; bit < 8; ++bit) crc = crc & 1 ? crc >> 1 ^ 0xedb88320U : crc >> 1;
  }
  return crc ^ 0xffffffffU;
}

std::uint64_t crc16_of(const Bytes& image, std::size_t begin, std::size_t end) {  // CRC-16/IBM-3740
  std::uint32_t crc = 0xffff;
  for (std::size_t i = begin; i < end; ++i) {
    crc ^= std::uint32_t{image[i]} << 8;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000 ? crc << 1 ^ 0x1021U : crc << 1) & 0xffff;
  }
  return crc;
}

SearchOutcome search(const std::vector<Bytes>& images, bool tables = true, bool computation = true) {
  ChecksumSearch search;
  for (const Bytes& image : images) search.images.push_back(image);
  search.tables = tables;
  search.computation = computation;
  return search_checksums(search);
}

const std::vector<std::size_t> kEdges = {0x8000, 0x18000, 0x28000, 0x40000};

TEST(ChecksumSearch, NothingInBytesWithoutChecksums) {
  for (std::uint64_t seed = 1; seed <= 3; ++seed)
    EXPECT_THAT(search({invented_image(seed, 0x40000, kEdges)}).found, IsEmpty()) << "seed " << seed;
}

TEST(ChecksumSearch, ByComputationAtTheEndOfABlock) {
  Bytes image = invented_image(7, 0x40000, kEdges);
  put(image, 0x17ffc, crc32_of(image, 0x8000, 0x17ffc), 4, true);
  const SearchOutcome outcome = search({image}, false);
  ASSERT_THAT(outcome.found, SizeIs(1));
  const Hit& hit = outcome.found.front().hit;
  EXPECT_EQ(search_algorithms()[hit.algorithm].catalogue, "CRC-32/ISO-HDLC");
  EXPECT_EQ(hit.coverage, (Range{0x8000, 0x17ffc}));
  EXPECT_EQ(hit.slot, 0x17ffcU);
  EXPECT_EQ(hit.storage.order, ByteOrder::kBig);
  EXPECT_LT(outcome.found.front().chance, 0.01);
}

TEST(ChecksumSearch, OwnSlotAsZerosInsideAnOuterOne) {
  Bytes image = invented_image(8, 0x40000, kEdges);
  put(image, 0x17ffc, crc32_of(image, 0x8000, 0x17ffc), 4, false);
  Bytes counted = image;
  put(counted, 0x3fffc, 0, 4, false);
  put(image, 0x3fffc, crc32_of(counted, 0, 0x40000), 4, false);
  const SearchOutcome outcome = search({image});
  ASSERT_THAT(outcome.found, SizeIs(2));
  EXPECT_EQ(outcome.found[1].hit.coverage, (Range{0, 0x40000}));
  EXPECT_EQ(outcome.found[1].hit.layout.own, Layout::Own::kAsZeros);
}

// Sixteen bits are not enough to tell a checksum from chance; twice sixteen are.
TEST(ChecksumSearch, SixteenBitsNeedASecondImage) {
  std::vector<Bytes> images;
  for (const std::uint64_t seed : {9, 10}) {
    Bytes image = invented_image(seed, 0x40000, kEdges);
    put(image, 0x27ffe, crc16_of(image, 0x18000, 0x27ffe), 2, true);
    images.push_back(std::move(image));
  }
  EXPECT_THAT(search({images[0]}).found, IsEmpty());
  const SearchOutcome outcome = search(images);
  ASSERT_THAT(outcome.found, SizeIs(1));
  EXPECT_EQ(search_algorithms()[outcome.found[0].hit.algorithm].catalogue, "CRC-16/IBM-3740");
  EXPECT_EQ(outcome.found[0].images, 2U);
  // The same image twice tells nothing more.
  EXPECT_THAT(search({images[0], images[0]}).found, IsEmpty());
}

// A list of 16-bit values elsewhere: two images tell where it is.
TEST(ChecksumSearch, SixteenBitsAnywhereInTwoImages) {
  std::vector<Bytes> images;
  for (const std::uint64_t seed : {13, 14}) {
    Bytes image = invented_image(seed, 0x40000, kEdges);
    put(image, 0x40a, crc16_of(image, 0x8000, 0x18000), 2, true);
    put(image, 0x40e, crc16_of(image, 0x18000, 0x28000), 2, true);
    images.push_back(std::move(image));
  }
  const SearchOutcome outcome = search(images);
  ASSERT_THAT(outcome.found, SizeIs(2));
  EXPECT_EQ(outcome.found[0].hit.slot, 0x40aU);
  EXPECT_EQ(outcome.found[0].hit.coverage, (Range{0x8000, 0x18000}));
  EXPECT_EQ(outcome.found[1].hit.slot, 0x40eU);
  EXPECT_EQ(outcome.found[1].hit.coverage, (Range{0x18000, 0x28000}));
}

// On the first word of a trailer, which is not covered.
TEST(ChecksumSearch, SixteenBitsBeforeTheRestOfATrailer) {
  std::vector<Bytes> images;
  for (const std::uint64_t seed : {15, 16}) {
    Bytes image = invented_image(seed, 0x40000, kEdges);
    for (std::size_t i = 0x17ff8; i < 0x18000; ++i) image[i] = static_cast<std::uint8_t>(seed * i);
    put(image, 0x17ff8, crc16_of(image, 0x8000, 0x17ff8), 2, false);
    images.push_back(std::move(image));
  }
  const SearchOutcome outcome = search(images);
  ASSERT_THAT(outcome.found, SizeIs(1));
  EXPECT_EQ(outcome.found[0].hit.slot, 0x17ff8U);
  EXPECT_EQ(outcome.found[0].hit.coverage, (Range{0x8000, 0x17ff8}));
}

// None of them could be told from chance by itself.
TEST(ChecksumSearch, SeveralOfOneConventionInOneImage) {
  Bytes image = invented_image(17, 0x40000, kEdges);
  std::size_t begin = 0;
  for (const std::size_t end : kEdges) {
    put(image, end - 2, crc16_of(image, begin, end - 2), 2, true);
    begin = end;
  }
  const SearchOutcome outcome = search({image});
  ASSERT_THAT(outcome.found, SizeIs(4));
  begin = 0;
  for (std::size_t i = 0; i < kEdges.size(); ++i) {
    EXPECT_EQ(outcome.found[i].hit.coverage, (Range{begin, kEdges[i] - 2}));
    begin = kEdges[i];
  }
}

std::uint64_t xor32_of(const Bytes& image, std::size_t begin, std::size_t end) {
  std::uint64_t sum = 0;
  for (std::size_t i = begin; i < end; ++i) sum ^= std::uint64_t{image[i]} << (8 * (i % 4));
  return sum;
}

// Where each section gives a constant, so does any run of sections; the sections are found.
TEST(ChecksumSearch, SectionsAndNotWhatTheyMakeUp) {
  Bytes image = invented_image(18, 0x40000, kEdges);
  std::size_t begin = 0;
  for (const std::size_t end : kEdges) {
    put(image, end - 4, xor32_of(image, begin, end - 4), 4, false);
    begin = end;
  }
  const SearchOutcome outcome = search({image});
  ASSERT_THAT(outcome.found, SizeIs(4));
  begin = 0;
  for (std::size_t i = 0; i < kEdges.size(); ++i) {
    EXPECT_EQ(outcome.found[i].hit.coverage.begin, begin);
    begin = kEdges[i];
  }
}

// An exclusive or does not see an even number of unused words: its end is stated as open, from the content's
// end to where something begins. Content that goes up to an edge ends there.
TEST(ChecksumSearch, AnEndInUnusedSpaceIsOpen) {
  Bytes image = invented_image(19, 0x40000, {0x8000, 0x18000, 0x40000});
  for (std::size_t i = 0x10000; i < 0x18000; ++i) image[i] = 0xff;
  for (std::size_t i = 0xfe00; i < 0x10000; ++i) image[i] = 0xff;
  put(image, 0x500, xor32_of(image, 0x8000, 0x10000), 4, false);
  put(image, 0x504, ~xor32_of(image, 0x8000, 0x10000), 4, false);
  const SearchOutcome open = search({image});
  ASSERT_THAT(open.found, SizeIs(1));
  EXPECT_EQ(open.found[0].hit.coverage, (Range{0x8000, 0x18000}));
  EXPECT_LE(open.found[0].least_end, 0xfe04U);
  EXPECT_GT(open.found[0].least_end, 0xf000U);
  const Bytes content = invented_image(20, 0x40000, {0x40000});
  std::copy(content.begin() + 0xf000, content.begin() + 0x10000, image.begin() + 0xf000);
  put(image, 0x500, xor32_of(image, 0x8000, 0x10000), 4, false);
  put(image, 0x504, ~xor32_of(image, 0x8000, 0x10000), 4, false);
  const SearchOutcome closed = search({image});
  ASSERT_THAT(closed.found, SizeIs(1));
  EXPECT_EQ(closed.found[0].hit.coverage, (Range{0x8000, 0x10000}));
  EXPECT_EQ(closed.found[0].least_end, 0x10000U);
}

TEST(ChecksumSearch, ByADescriptorTableOffTheGrid) {
  Bytes image = invented_image(11, 0x40000, kEdges);
  const std::vector<Range> ranges = {{0x8010, 0x12344}, {0x18000, 0x27f00}, {0x28020, 0x3f000}};
  for (std::size_t i = 0; i < ranges.size(); ++i) {
    const std::size_t record = 0x2104 + 20 * i;
    put(image, record, 0x80000000 + ranges[i].begin, 4, true);
    put(image, record + 4, 0x80000000 + ranges[i].end - 1, 4, true);
    const std::uint64_t value = crc16_of(image, ranges[i].begin, ranges[i].end);
    put(image, record + 8, value, 2, true);
    put(image, record + 10, ~value, 2, true);
  }
  const SearchOutcome outcome = search({image}, true, false);
  ASSERT_THAT(outcome.found, SizeIs(3));
  for (std::size_t i = 0; i < ranges.size(); ++i) {
    EXPECT_EQ(outcome.found[i].hit.coverage, ranges[i]);
    EXPECT_EQ(outcome.found[i].hit.slot, 0x210cU + 20 * i);
    EXPECT_EQ(outcome.found[i].hit.layout.pair, 2);
  }
  ASSERT_THAT(outcome.tables, SizeIs(1));
  EXPECT_EQ(outcome.tables[0].base, 0x80000000U);
  EXPECT_EQ(outcome.tables[0].stride, 20U);
}

TEST(ChecksumSearch, StopsWhenAsked) {
  const Bytes image = invented_image(12, 0x10000, {0x8000, 0x10000});
  ChecksumSearch search;
  search.images = {image};
  search.progress = [](double) { return false; };
  const SearchOutcome outcome = search_checksums(search);
  EXPECT_FALSE(outcome.is_whole());
  EXPECT_GT(outcome.algorithms_tried, 0U);
}

// The drafted map is written, read back, and holds; correction then sets what an independent computation
// sets.
TEST(MapDraft, HoldsAndLocksEverything) {
  Bytes image = invented_image(13, 0x40000, kEdges);
  put(image, 0x17ffc, crc32_of(image, 0x8000, 0x17ffc), 4, false);
  std::memcpy(image.data() + 0x100,
              "\0"
              "1M8GDM9AXKP042788\0",
              19);  // 49 CFR 565.15's worked example of a check digit, X at 9
  ChecksumSearch search;
  search.images = {image};
  DraftNames names;
  names.origin = 0x80000000;
  const auto draft = draft_region_map(search, names);
  ASSERT_TRUE(draft.has_value());
  const RegionMap& map = draft->map;
  ASSERT_THAT(map.checksums, SizeIs(1));
  EXPECT_EQ(map.checksums[0].slots[0].place.range.begin, 0x80017ffcU);
  EXPECT_FALSE(map.evidence.verified);
  EXPECT_FALSE(map.evidence.guesses.empty());
  ASSERT_THAT(map.identity, SizeIs(1));
  EXPECT_EQ(map.identity[0].place.range.begin, 0x80000101U);
  for (const Region& region : map.regions) EXPECT_EQ(region.policy, Policy::kLocked);
}

TEST(MapDraft, RefusesWhatItCannotDraft) {
  const Bytes small(100, 1), one(4096, 1), other(8192, 1);
  const auto reason = [](const std::vector<ByteView>& images, const DraftNames& names) {
    ChecksumSearch search;
    search.images = images;
    return draft_region_map(search, names).error().reason;
  };
  EXPECT_EQ(reason({small}, {}), Reason::kImageSize);
  EXPECT_EQ(reason({one, other}, {}), Reason::kImageSize);
  DraftNames names;
  names.memory = "Not A Name";
  EXPECT_EQ(reason({one}, names), Reason::kUsage);
  names = {};
  names.origin = 0xfffff800;
  EXPECT_EQ(reason({one}, names), Reason::kUsage);
}

TEST(ImageParts, LooksRepetitionsAndVins) {
  Bytes image(8 * 4096, 0xff);
  std::uint64_t state = 5;
  for (std::size_t i = 0; i < 2 * 4096; ++i) {
    state = state * 6364136223846793005U + 1442695040888963407U;
    image[i] = static_cast<std::uint8_t>(state >> 56);
  }
  for (std::size_t i = 2 * 4096; i < 3 * 4096; ++i) image[i] = static_cast<std::uint8_t>(i / 3 % 100);
  std::copy_n(image.begin(), 8192, image.begin() + 4 * 4096);
  for (std::size_t i = 0; i < 4096; ++i)
    image[7 * 4096 + i] = static_cast<std::uint8_t>(~image[2 * 4096 + i]);
  const auto parts = find_parts(image);
  ASSERT_THAT(parts, SizeIs(6));
  EXPECT_EQ(parts[0].look, PartLook::kPacked);
  EXPECT_EQ(parts[1].look, PartLook::kData);
  EXPECT_EQ(parts[2].look, PartLook::kUnused);
  const auto repetitions = find_repetitions(image, 8);
  ASSERT_THAT(repetitions, SizeIs(2));
  EXPECT_EQ(repetitions[0].first, (Range{0, 8192}));
  EXPECT_EQ(repetitions[0].again, (Range{4 * 4096, 6 * 4096}));
  EXPECT_TRUE(repetitions[1].complemented);
  Bytes changed = image;
  changed[100] ^= 1;
  changed[110] ^= 1;
  changed[9000] ^= 1;
  EXPECT_EQ(find_varying({image, changed}).ranges(), (std::vector<Range>{{100, 111}, {9000, 9001}}));
}

}  // namespace
}  // namespace calseal
