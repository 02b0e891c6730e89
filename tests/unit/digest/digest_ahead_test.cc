// Hashing ahead gives what hashing afterwards gives, wherever the settled part ends and whatever happens
// behind it meanwhile.
#include "calseal/digest/digest_ahead.h"

#include <gtest/gtest.h>

namespace calseal {
namespace {

Bytes pattern(std::size_t size) {
  Bytes bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::uint8_t>(i * 7 + (i >> 8));
  return bytes;
}

TEST(DigestAhead, SaysWhatTheWholeSays) {
  for (const std::size_t size : {0U, 1U, 63U, 5000U, 524288U, 1500001U}) {
    const Bytes bytes = pattern(size);
    for (const std::size_t settled : {std::size_t{0}, size / 2, size - size / 7, size, size + 5}) {
      DigestAhead ahead(bytes, settled);
      EXPECT_LE(ahead.settled(), size);
      EXPECT_EQ(ahead.finish(), compute_sha256(bytes)) << size << " " << settled;
    }
  }
}

TEST(DigestAhead, CountsWhatIsWrittenBehindTheSettledPart) {
  Bytes bytes = pattern(2000000);
  DigestAhead ahead(bytes, 1200000);
  for (std::size_t i = 1200000; i < bytes.size(); ++i) bytes[i] ^= 0x5a;
  EXPECT_EQ(ahead.finish(), compute_sha256(bytes));
}

TEST(DigestAhead, CanBeGivenUpAtAnyTime) {
  const Bytes bytes = pattern(4000000);
  for (int i = 0; i < 50; ++i) DigestAhead(bytes, bytes.size());
}

}  // namespace
}  // namespace calseal
