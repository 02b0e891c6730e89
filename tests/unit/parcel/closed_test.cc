#include "calseal/parcel/closed.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "calseal/parcel/parcel_key.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::size_t kPiece = std::size_t{1} << 20;
constexpr std::size_t kBegin = 49;

ParcelSecret secret_of(std::uint8_t value) {
  ParcelSecret secret;
  secret.bytes.fill(value);
  return secret;
}

Bytes content(std::size_t size) {
  Bytes bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::uint8_t>(i * 31 + (i >> 12));
  return bytes;
}

Bytes closed(const Bytes& parcel) {
  const auto file = close_parcel_with(parcel, *public_of(secret_of(1)), secret_of(2));
  EXPECT_TRUE(file.has_value());
  return *file;
}

Result<Bytes> open(const Bytes& file, std::uint8_t key = 1) {
  return open_closed_parcel(file, secret_of(key), "c");
}

TEST(ClosedParcel, OpensToWhatItWas) {
  for (const std::size_t size :
       {std::size_t{1}, std::size_t{100}, kPiece - 1, kPiece, kPiece + 1, 2 * kPiece}) {
    const Bytes parcel = content(size);
    const Bytes file = closed(parcel);
    EXPECT_EQ(file.size(), kBegin + size + (size + kPiece - 1) / kPiece * kHpkeTagSize) << size;
    EXPECT_TRUE(begins_as_closed_parcel(file));
    EXPECT_THAT(open(file), IsOkAnd(parcel)) << size;
    EXPECT_THAT(open(file, 3), FailsWith(Reason::kParcelClosed)) << size;
  }
}

// Sealed by an implementation of RFC 9180 that shares no code with this one.
TEST(Hpke, OpensWhatOthersHaveSealed) {
  const Bytes sealed = *from_hex(
      "043ff5354410d7ead346d41ba28506988ec69e1cb66b724f86fbc952d6663a557b71de23a3429274c1fa56bc"
      "c9621c59be8e01dfaddf13063e2381572ca5375bcb388f1c43ca84fb114bfe45b11debb441d07be8d5d7db");
  ParcelKey enc;
  std::copy_n(sealed.begin(), enc.bytes.size(), enc.bytes.begin());
  std::optional<HpkeContext> context = setup_receiver(enc, view_of("calseal parcel/1"), secret_of(1));
  ASSERT_TRUE(context.has_value());
  const auto opened = context->open({}, ByteView(sealed).subspan(enc.bytes.size()));
  ASSERT_TRUE(opened.has_value());
  EXPECT_EQ(text_of(*opened), "A parcel that somebody else has closed.");
  // Another text for `info` is another context.
  context = setup_receiver(enc, view_of("calseal parcel/2"), secret_of(1));
  EXPECT_FALSE(context->open({}, ByteView(sealed).subspan(enc.bytes.size())).has_value());
}

TEST(ClosedParcel, EveryOneHasAKeyOfItsOwn) {
  const Bytes parcel = content(50);
  const auto a = close_parcel(parcel, *public_of(secret_of(1)));
  const auto b = close_parcel(parcel, *public_of(secret_of(1)));
  ASSERT_THAT(a, IsOk());
  ASSERT_THAT(b, IsOk());
  EXPECT_NE(*a, *b);
  EXPECT_THAT(open(*a), IsOkAnd(parcel));
}

TEST(ClosedParcel, EveryBitFlipTruncationAndAppendedByteIsRefused) {
  const Bytes file = closed(content(40));
  for (std::size_t at = 0; at < file.size(); ++at) {
    for (int bit = 0; bit < 8; ++bit) {
      // RFC 7748 section 5: the top bit of a public key does not count in the exchange, but the key is bound.
      Bytes bent = file;
      bent[at] = static_cast<std::uint8_t>(bent[at] ^ (1 << bit));
      ASSERT_THAT(open(bent), FailsWith(Reason::kParcelClosed)) << at << " " << bit;
    }
    ASSERT_THAT(open(Bytes(file.begin(), file.begin() + static_cast<std::ptrdiff_t>(at))),
                FailsWith(Reason::kParcelClosed))
        << at;
  }
  for (int value = 0; value < 256; ++value) {
    Bytes longer = file;
    longer.push_back(static_cast<std::uint8_t>(value));
    ASSERT_THAT(open(longer), FailsWith(Reason::kParcelClosed));
  }
}

TEST(ClosedParcel, PiecesCannotBeMovedMissingOrCutOff) {
  const std::size_t sealed = kPiece + kHpkeTagSize;
  const Bytes file = closed(content(2 * kPiece + 10));
  const auto at = [](std::size_t offset) { return static_cast<std::ptrdiff_t>(offset); };
  Bytes moved = file;
  std::swap_ranges(moved.begin() + at(kBegin), moved.begin() + at(kBegin + sealed),
                   moved.begin() + at(kBegin + sealed));
  EXPECT_THAT(open(moved), FailsWith(Reason::kParcelClosed));
  Bytes missing = file;
  missing.erase(missing.begin() + at(kBegin), missing.begin() + at(kBegin + sealed));
  EXPECT_THAT(open(missing), FailsWith(Reason::kParcelClosed));
  Bytes cut = file;
  cut.resize(kBegin + 2 * sealed);  // whole pieces, and none of them is the last one
  EXPECT_THAT(open(cut), FailsWith(Reason::kParcelClosed));
  EXPECT_THAT(open(file), IsOk());
}

TEST(ClosedParcel, APieceOfNothingIsNone) {
  std::optional<HpkeSender> sender =
      setup_sender(*public_of(secret_of(1)), view_of("calseal parcel/1"), secret_of(2));
  ASSERT_TRUE(sender.has_value());
  const Bytes last{1};
  Bytes file(kClosedMark.begin(), kClosedMark.end());
  file.insert(file.end(), sender->enc.bytes.begin(), sender->enc.bytes.end());
  const Bytes piece = *sender->context.seal(last, {});
  file.insert(file.end(), piece.begin(), piece.end());
  EXPECT_THAT(open(file), FailsWith(Reason::kParcelClosed));
}

TEST(ClosedParcel, KeysThatGiveZeroAreRefused) {
  for (const ParcelKey& key : {ParcelKey(), [] {
                                 ParcelKey one;
                                 one.bytes[0] = 1;
                                 return one;
                               }()}) {
    EXPECT_THAT(close_parcel(content(5), key), FailsWith(Reason::kParcelClosed));
    Bytes file = closed(content(5));
    std::copy(key.bytes.begin(), key.bytes.end(),
              file.begin() + static_cast<std::ptrdiff_t>(kClosedMark.size()));
    EXPECT_THAT(open(file), FailsWith(Reason::kParcelClosed));
  }
}

TEST(ParcelKeyFile, ReadBackAsWritten) {
  const ParcelKey key = *public_of(secret_of(1));
  const std::string pem = parcel_key_pem(key);
  EXPECT_THAT(parse_parcel_key_pem(view_of(pem), "k"), IsOkAnd(key));
  for (std::size_t at = 0; at < pem.size(); ++at) {
    std::string bent = pem;
    bent[at] = bent[at] == 'A' ? 'B' : 'A';
    const auto parsed = parse_parcel_key_pem(view_of(bent), "k");
    if (parsed) {
      // A letter of the key itself makes another key.
      EXPECT_TRUE(at >= 43 && at < 86) << at;
      EXPECT_NE(*parsed, key) << at;
    } else {
      EXPECT_EQ(parsed.error().reason, Reason::kKeyFileInvalid) << at;
    }
  }
  EXPECT_THAT(parse_parcel_key_pem(view_of(parcel_key_pem(ParcelKey())), "k"), FailsWith(Reason::kKeyWeak));
}

// RFC 7748 section 6.1: the keys of its example.
TEST(ParcelKeyFile, PublicHalfIsThatOfTheStandard) {
  const auto key = [](std::string_view hex) {
    ParcelSecret secret;
    const Bytes bytes = *from_hex(hex);
    std::copy(bytes.begin(), bytes.end(), secret.bytes.begin());
    return to_hex(public_of(secret)->bytes);
  };
  EXPECT_EQ(key("5dab087e624a8a4b79e17f8b83800ee66f3bb1292618b6fd1c2f8b27ff88e0eb"),
            "de9edb7d7b7dc1b4d35b61c2ece435373f8343c85b78674dadfc7e146f882b4f");
}

}  // namespace
}  // namespace calseal
