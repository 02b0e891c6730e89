// Digests begun before the read is loaded: given for the bytes they are of, and for no others.
#include "calseal/check/locked_ahead.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <optional>
#include <thread>

#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSize = 2 << 20;

// Two memories of 2 MiB; of "flash" all is locked but 64 KiB in the middle.
ManifestController claims() {
  ManifestController claims;
  claims.memories = {{"flash", {0, kSize}, {{0, kSize}}}, {"other", {0, kSize}, {{0, kSize}}}};
  const auto span = [&](const char* memory, Range range, SpanKind kind) {
    claims.spans.push_back({{memory, range}, kind, Sha256{}, Sha256{}});
  };
  span("flash", {0, 0x100000}, SpanKind::kLocked);
  span("flash", {0x100000, 0x110000}, SpanKind::kEditable);
  span("flash", {0x110000, kSize}, SpanKind::kLocked);
  span("other", {0, kSize}, SpanKind::kLocked);
  return claims;
}

Bytes bytes_of(std::uint8_t seed) {
  Bytes bytes(kSize);
  for (std::size_t i = 0; i < kSize; ++i) bytes[i] = static_cast<std::uint8_t>(seed + i * i / 7);
  return bytes;
}

// As load_read() leaves them.
Read read_of(std::vector<std::pair<std::string, bool>> sources) {
  Read read;
  for (auto& [memory, is_memory] : sources) {
    ReadSource source;
    source.memory = memory;
    source.is_memory = is_memory;
    read.sources.push_back(std::move(source));
  }
  return read;
}

std::size_t given(LockedAhead& ahead, const Bytes& flash, const Bytes& other) {
  std::size_t count = 0;
  for (const ManifestSpan& span : claims().spans) {
    const ByteView bytes = ByteView(span.place.memory == "flash" ? flash : other)
                               .subspan(static_cast<std::size_t>(span.place.range.begin),
                                        static_cast<std::size_t>(span.place.range.size()));
    const auto digest = ahead.digest(span.place, bytes);
    if (!digest) continue;
    EXPECT_EQ(*digest, compute_sha256(bytes)) << span.place.memory << span.place.range.begin;
    EXPECT_EQ(span.kind, SpanKind::kLocked);
    ++count;
  }
  return count;
}

// How many digests there are when the second thread had time enough for `all`, which a busy machine may not
// give it at once. Nothing without a second core.
template <typename Made>
std::size_t most_given(const Made& made, const std::optional<Read>& read, const Bytes& flash,
                       const Bytes& other, std::size_t all) {
  std::size_t most = 0;
  for (auto wait = std::chrono::milliseconds(10); most < all && wait.count() < 10000; wait *= 2) {
    LockedAhead ahead(claims(), made);
    std::this_thread::sleep_for(wait);
    ahead.pause();
    if (read) ahead.loaded(*read);
    most = std::max(most, given(ahead, flash, other));
    if (!OtherCore::is_there()) return most == 0 ? all : most;
  }
  return most;
}

TEST(LockedAhead, GivesTheDigestsOfFilesThatAreMemories) {
  const Bytes flash = bytes_of(1), other = bytes_of(2);
  const std::vector<ReadFile> files{{"other", "o.bin", other}, {"flash", "f.bin", flash}};
  for (const bool first : {true, false}) {
    for (const bool second : {true, false}) {
      const Read read = read_of({{"other", first}, {"flash", second}});
      const std::size_t all = (first ? 1U : 0U) + (second ? 2U : 0U);
      EXPECT_EQ(most_given(files, read, flash, other, all), all);
    }
  }
}

// What load_read() made of a file decides, not what it looked like before.
TEST(LockedAhead, ForgetsAFileThatBecameSomethingElse) {
  const Bytes flash = bytes_of(1), other = bytes_of(2);
  const std::vector<ReadFile> files{{"flash", "f.bin", flash}, {"other", "o.bin", other}};
  for (const auto& [first, second] : {std::pair("other", "flash"), {"", ""}}) {
    LockedAhead ahead(claims(), files);
    std::this_thread::sleep_for(std::chrono::milliseconds(20));
    ahead.pause();
    ahead.loaded(*first == '\0' ? read_of({}) : read_of({{first, true}, {second, true}}));
    EXPECT_EQ(given(ahead, other, flash), 0U);
  }
}

TEST(LockedAhead, BeginsNothingWithFilesOfOtherSizesOrNames) {
  Bytes longer = bytes_of(1);
  longer.push_back(0);
  const Bytes flash = bytes_of(1);
  for (const std::vector<ReadFile>& files :
       {std::vector<ReadFile>{{"flash", "f.bin", longer}}, std::vector<ReadFile>{{"eeprom", "f.bin", flash}},
        std::vector<ReadFile>{{"", "f.bin", flash}, {"", "o.bin", flash}}, std::vector<ReadFile>{}}) {
    LockedAhead ahead(claims(), files);
    std::this_thread::sleep_for(std::chrono::milliseconds(20));
    ahead.pause();
    EXPECT_EQ(given(ahead, flash, flash), 0U);
  }
}

TEST(LockedAhead, GivesTheDigestsOfAnImage) {
  Image image;
  image.memories = {{"flash", {0, kSize}, bytes_of(1), RangeSet({0, kSize})},
                    {"other", {0, kSize}, bytes_of(2), RangeSet({0, kSize - 1})}};  // not known as a whole
  EXPECT_EQ(most_given(image, std::nullopt, image.memories[0].bytes, image.memories[1].bytes, 2), 2U);
}

// In any order, and for no other place.
TEST(LockedAhead, AnswersForThePlaceThatIsAsked) {
  const Bytes flash = bytes_of(1), other = bytes_of(2);
  const std::vector<ReadFile> files{{"flash", "f.bin", flash}, {"other", "o.bin", other}};
  LockedAhead ahead(claims(), files);
  std::this_thread::sleep_for(std::chrono::milliseconds(20));
  ahead.pause();
  ahead.loaded(read_of({{"flash", true}, {"other", true}}));
  const std::vector<ManifestSpan> spans = claims().spans;
  for (const std::size_t i : {3, 0, 2}) {
    const ByteView bytes = ByteView(spans[i].place.memory == "flash" ? flash : other)
                               .subspan(static_cast<std::size_t>(spans[i].place.range.begin),
                                        static_cast<std::size_t>(spans[i].place.range.size()));
    const auto digest = ahead.digest(spans[i].place, bytes);
    if (digest) {
      EXPECT_EQ(*digest, compute_sha256(bytes)) << i;
    }
  }
  EXPECT_FALSE(ahead.digest({"flash", {0, 16}}, ByteView(flash).first(16)).has_value());
}

}  // namespace
}  // namespace calseal
