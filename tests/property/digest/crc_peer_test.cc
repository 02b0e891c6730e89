// Crc and Adler-32 against implementations that others wrote.
#include <gtest/gtest.h>
#include <zlib.h>

#include <boost/crc.hpp>

#include "calseal/digest/catalogue.h"
#include "calseal/digest/crc.h"
#include "calseal/digest/sum.h"
#include "support/crc_vectors.h"
#include "support/random.h"

namespace calseal {
namespace {

Crc named(std::string_view name) { return Crc(*parameters_of(*find_catalogue_entry(name))); }

// Random data of random length at a random alignment.
class Piece {
 public:
  explicit Piece(Random& random)
      : offset_(random.between(0, 31)), bytes_(random.bytes(offset_ + random.between(0, 5000))) {}
  ByteView view() const { return ByteView(bytes_).subspan(offset_); }

 private:
  std::size_t offset_;
  Bytes bytes_;
};

template <typename Peer>
void expect_agreement(std::string_view name, Peer peer) {
  Random random;
  const Crc crc = named(name);
  for (int round = 0; round < 100; ++round) {
    const Piece piece(random);
    peer.reset();
    peer.process_bytes(piece.view().data(), piece.view().size());
    ASSERT_EQ(crc.compute(piece.view()), peer.checksum()) << name << ", " << piece.view().size() << " bytes";
  }
}

TEST(CrcPeer, BoostCrc32) { expect_agreement("CRC-32/ISO-HDLC", boost::crc_32_type()); }
TEST(CrcPeer, BoostCrc16Arc) { expect_agreement("CRC-16/ARC", boost::crc_16_type()); }
TEST(CrcPeer, BoostCrc16Ibm3740) { expect_agreement("CRC-16/IBM-3740", boost::crc_ccitt_type()); }
TEST(CrcPeer, BoostCrc16Xmodem) {
  expect_agreement("CRC-16/XMODEM", boost::crc_optimal<16, 0x1021, 0, 0, false, false>());
}
TEST(CrcPeer, BoostCrc16Kermit) {
  expect_agreement("CRC-16/KERMIT", boost::crc_optimal<16, 0x1021, 0, 0, true, true>());
}
TEST(CrcPeer, BoostCrc16Modbus) {
  expect_agreement("CRC-16/MODBUS", boost::crc_optimal<16, 0x8005, 0xffff, 0, true, true>());
}
TEST(CrcPeer, BoostCrc8J1850) {
  expect_agreement("CRC-8/SAE-J1850", boost::crc_optimal<8, 0x1d, 0xff, 0xff, false, false>());
}
TEST(CrcPeer, BoostCrc32Iscsi) {
  expect_agreement("CRC-32/ISCSI", boost::crc_optimal<32, 0x1edc6f41, 0xffffffff, 0xffffffff, true, true>());
}
TEST(CrcPeer, BoostCrc32Mpeg2) {
  expect_agreement("CRC-32/MPEG-2", boost::crc_optimal<32, 0x04c11db7, 0xffffffff, 0, false, false>());
}
TEST(CrcPeer, BoostCrc64Xz) {
  expect_agreement(
      "CRC-64/XZ",
      boost::crc_optimal<64, 0x42f0e1eba9ea3693, 0xffffffffffffffff, 0xffffffffffffffff, true, true>());
}

template <std::size_t kWidth>
void expect_random_agreement() {
  Random random;
  for (int round = 0; round < 20; ++round) {
    const CrcParameters p = random_crc(random, static_cast<int>(kWidth));
    const Bytes data = random.bytes(random.between(0, 200));
    using Peer = boost::crc_basic<kWidth>;
    using Value = typename Peer::value_type;
    Peer peer(static_cast<Value>(p.poly), static_cast<Value>(p.init), static_cast<Value>(p.xorout), p.refin,
              p.refout);
    peer.process_bytes(data.data(), data.size());
    ASSERT_EQ(Crc(p).compute(data), peer.checksum()) << describe(p);
  }
}

TEST(CrcPeer, BoostWithRandomParameters) {
  expect_random_agreement<5>();
  expect_random_agreement<8>();
  expect_random_agreement<12>();
  expect_random_agreement<16>();
  expect_random_agreement<24>();
  expect_random_agreement<31>();
  expect_random_agreement<32>();
  expect_random_agreement<40>();
  expect_random_agreement<64>();
}

TEST(CrcPeer, ZlibCrc32AndItsCombine) {
  Random random;
  const Crc crc = named("CRC-32/ISO-HDLC");
  for (int round = 0; round < 300; ++round) {
    const Piece a(random);
    const Piece b(random);
    const uLong peer_a = crc32_z(0, a.view().data(), a.view().size());
    const uLong peer_b = crc32_z(0, b.view().data(), b.view().size());
    ASSERT_EQ(crc.compute(a.view()), peer_a);
    ASSERT_EQ(crc.combine(peer_a, peer_b, b.view().size()),
              crc32_combine(peer_a, peer_b, static_cast<z_off_t>(b.view().size())));
    const std::uint64_t far = random.between(0, std::uint64_t{1} << 40);
    ASSERT_EQ(crc.combine(peer_a, peer_b, far), crc32_combine(peer_a, peer_b, static_cast<z_off_t>(far)))
        << far;
  }
}

TEST(CrcPeer, ZlibAdler32) {
  Random random;
  for (int round = 0; round < 300; ++round) {
    const Piece a(random);
    const Piece b(random);
    uLong peer = adler32(1, a.view().data(), static_cast<uInt>(a.view().size()));
    peer = adler32(peer, b.view().data(), static_cast<uInt>(b.view().size()));
    ASSERT_EQ(update_adler32(update_adler32(1, a.view()), b.view()), peer);
  }
}

}  // namespace
}  // namespace calseal
