// Both engines against OpenSSL's one-shot SHA-256: lengths, alignments, and who is hashed beside whom.
#include "calseal/digest/sha256_many.h"

#include <gtest/gtest.h>
#include <openssl/sha.h>
#include <sys/mman.h>

#include "support/fenced.h"
#include "support/random.h"

namespace calseal {
namespace {

Sha256 peer_digest(ByteView data) {
  Sha256 digest;
  SHA256(data.data(), data.size(), digest.bytes.data());
  return digest;
}

std::vector<Sha256> peer_digests(const std::vector<ByteView>& messages) {
  std::vector<Sha256> digests;
  for (const ByteView& message : messages) digests.push_back(peer_digest(message));
  return digests;
}

// Around the ends of blocks, and where the length just fits into a block or no longer does.
constexpr std::size_t kEdges[] = {0,   1,   55,  56,  57,  63,  64,  65,  119,
                                  120, 121, 127, 128, 129, 183, 184, 192, 1000};

class Sha256Engines : public ::testing::TestWithParam<Sha256Engine> {
 protected:
  void SetUp() override {
    if (GetParam() == Sha256Engine::kLanes && best_sha256_engine() != GetParam()) GTEST_SKIP() << "this processor has no such instructions";
  }
  std::vector<Sha256> digests(const std::vector<ByteView>& messages) const {
    return compute_sha256_of_each(messages, GetParam());
  }
};

TEST_P(Sha256Engines, EveryLengthBesideEveryOther) {
  Random random;
  const Bytes data = random.bytes(400);
  for (std::size_t length = 0; length <= 300; ++length) {
    for (const std::size_t other : kEdges) {
      const std::vector<ByteView> messages{ByteView(data).subspan(length % 64, length),
                                           ByteView(data).first(std::min(other, data.size()))};
      ASSERT_EQ(digests(messages), peer_digests(messages)) << length << " beside " << other;
    }
  }
}

TEST_P(Sha256Engines, EveryAlignmentInEitherPlace) {
  Random random;
  const Bytes data = random.bytes(64 + 1000);
  for (std::size_t first = 0; first < 64; ++first) {
    for (std::size_t second = 0; second < 64; second += 7) {
      const std::vector<ByteView> messages{ByteView(data).subspan(first, 900),
                                           ByteView(data).subspan(second, 500)};
      ASSERT_EQ(digests(messages), peer_digests(messages)) << first << " " << second;
    }
  }
}

TEST_P(Sha256Engines, ReadNothingBesideTheMessages) {
  Random random;
  Fenced first, second;
  for (const std::size_t length : kEdges) {
    for (const std::size_t other : kEdges) {
      const Bytes a = random.bytes(length);
      const Bytes b = random.bytes(other);
      const std::vector<Sha256> expected{peer_digest(a), peer_digest(b)};
      ASSERT_EQ(digests({first.at_start(a), second.at_end(b)}), expected);
      ASSERT_EQ(digests({first.at_end(a), second.at_start(b)}), expected);
    }
  }
}

TEST_P(Sha256Engines, ListsOfAnyLengthsInTheirOrder) {
  Random random;
  for (int round = 0; round < 300; ++round) {
    const std::uint64_t longest = std::uint64_t{1} << random.between(0, 14);
    const Bytes data = random.bytes(longest);
    std::vector<ByteView> messages(random.between(0, 40));
    for (ByteView& message : messages) {
      const std::size_t size = random.between(0, longest);
      message = ByteView(data).subspan(random.between(0, longest - size), size);
    }
    ASSERT_EQ(digests(messages), peer_digests(messages));
  }
}

TEST_P(Sha256Engines, EnoughForSeveralThreads) {
  Random random;
  const Bytes data = random.bytes(std::size_t{3} << 20);
  for (int round = 0; round < 10; ++round) {
    std::vector<ByteView> messages(random.between(2, 12));
    for (ByteView& message : messages) {
      const std::size_t size = random.between(0, data.size());
      message = ByteView(data).subspan(random.between(0, data.size() - size), size);
    }
    ASSERT_EQ(digests(messages), peer_digests(messages));
  }
}

TEST_P(Sha256Engines, MessagesOfMoreBitsThanThirtyOneOrThirtyTwoCanCount) {
  if (GetParam() == Sha256Engine::kEvp) GTEST_SKIP() << "this is what it is compared with";
  constexpr std::size_t kSize = (std::size_t{512} << 20) + 3;
  // Never written, so all of it is one page of zeros.
  void* const zeros = mmap(nullptr, kSize, PROT_READ, MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
  ASSERT_NE(zeros, MAP_FAILED);
  const ByteView data(static_cast<const std::uint8_t*>(zeros), kSize);
  const std::vector<ByteView> messages{data.first(std::size_t{256} << 20), data,
                                       data.first((std::size_t{256} << 20) + 1), data.first(kSize - 3)};
  EXPECT_EQ(digests(messages), peer_digests(messages));
  munmap(zeros, kSize);
}

TEST_P(Sha256Engines, StreamsInAnyPiecesBesideEachOther) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    Sha256Streams streams(GetParam());
    struct Stream {
      Bytes data;
      ByteView left;
      std::size_t number;
    };
    std::vector<Stream> open;
    const std::uint64_t longest = random.coin() ? 200 : 20000;
    for (int step = 0; step < 200; ++step) {
      if (open.size() < 3 || random.between(0, 9) == 0) {
        open.push_back({random.bytes(random.between(0, longest)), {}, streams.begin()});
        open.back().left = open.back().data;
      }
      const std::size_t i = random.between(0, open.size() - 1);
      Stream& stream = open[i];
      const ByteView piece = stream.left.first(random.between(0, stream.left.size()));
      streams.update(stream.number, piece);
      stream.left = stream.left.subspan(piece.size());
      if (random.coin()) streams.flush();
      if (!stream.left.empty() && random.between(0, 4) != 0) continue;
      streams.update(stream.number, stream.left);
      ASSERT_EQ(streams.finish(stream.number), peer_digest(stream.data)) << stream.data.size();
      // Moving bytes keeps what views of them see.
      open.erase(open.begin() + static_cast<std::ptrdiff_t>(i));
    }
  }
}

TEST_P(Sha256Engines, StreamsCountBitsBeyondThirtyTwo) {
  if (GetParam() == Sha256Engine::kEvp) GTEST_SKIP() << "this is what it is compared with";
  const Bytes piece(std::size_t{1} << 20, 0xa5);
  Sha256Streams streams(GetParam());
  const std::size_t longer = streams.begin();
  const std::size_t shorter = streams.begin();
  Sha256Hasher evp_longer, evp_shorter;
  for (int i = 0; i <= 512; ++i) {
    streams.update(longer, piece);
    evp_longer.update(piece);
    if (i < 257) {
      streams.update(shorter, ByteView(piece).first(piece.size() - 1));
      evp_shorter.update(ByteView(piece).first(piece.size() - 1));
    }
    streams.flush();
  }
  EXPECT_EQ(streams.finish(longer), evp_longer.finish());
  EXPECT_EQ(streams.finish(shorter), evp_shorter.finish());
}

INSTANTIATE_TEST_SUITE_P(All, Sha256Engines, ::testing::Values(Sha256Engine::kEvp, Sha256Engine::kLanes),
                         [](const auto& engine) {
                           return engine.param == Sha256Engine::kEvp ? "Evp" : "Lanes";
                         });

}  // namespace
}  // namespace calseal
