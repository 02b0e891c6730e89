// Numbers and bytes as text, input made safe to print, and points in time.
#include "calseal/base/text.h"

#include <gtest/gtest.h>

#include "calseal/base/utc_time.h"
#include "support/random.h"

namespace calseal {
namespace {

TEST(Text, HexIsStrict) {
  EXPECT_EQ(to_hex(Bytes{0x00, 0xaf}), "00af");
  EXPECT_EQ(from_hex("00af"), (Bytes{0x00, 0xaf}));
  for (const char* bad : {"0", "0A", "0g", " 00", "0x"}) EXPECT_EQ(from_hex(bad), std::nullopt) << bad;
  Random random;
  const Bytes bytes = random.bytes(257);
  EXPECT_EQ(from_hex(to_hex(bytes)), bytes);
}

TEST(Text, AddressesAreStrict) {
  EXPECT_EQ(address_text(0x1f), "0x0000001f");
  EXPECT_EQ(parse_address("0xffffffff"), 0xffffffffU);
  for (const char* bad : {"0x1f", "0x0000001F", "0X0000001f", "000000001f", "0x100000000"}) {
    EXPECT_EQ(parse_address(bad), std::nullopt) << bad;
  }
}

TEST(Text, RangesShowFirstAndLastByte) {
  EXPECT_EQ(range_text({0x10, 0x20}), "0x00000010-0x0000001f");
  EXPECT_EQ(range_text({0x10, 0x11}), "0x00000010");
  EXPECT_EQ(grouped(0), "0");
  EXPECT_EQ(grouped(1234567), "1,234,567");
}

TEST(Text, NothingPrintedCanSteerATerminal) {
  EXPECT_EQ(printable("plain é"), "plain é");
  EXPECT_EQ(printable("\x1b[31m"), "\\u001b[31m");
  EXPECT_EQ(printable("a\nb"), "a\\u000ab");
  EXPECT_EQ(printable("\xff"), "\\xff");
  EXPECT_EQ(printable("\xc2\x9b"), "\\u009b");                       // CSI as one C1 control
  EXPECT_EQ(printable("\xe2\x80\xae"), "\\u202e");                   // right-to-left override
  EXPECT_EQ(printable("a\xe2\x80\x8b\xc2\xad"), "a\\u200b\\u00ad");  // without width
  EXPECT_EQ(printable("\xf3\xa0\x81\x81"), "\\u{e0041}");            // a tag
  EXPECT_EQ(printable(printable("\x1b\xff\xf3\xa0\x81\x81")), printable("\x1b\xff\xf3\xa0\x81\x81"));
  EXPECT_EQ(printable(std::string(300, 'a')), std::string(200, 'a') + "...");
}

TEST(Text, PrintableIsAlwaysPrintable) {
  Random random;
  for (int round = 0; round < 2000; ++round) {
    const Bytes bytes = random.bytes(random.between(0, 40));
    const std::string text = printable(text_of(bytes));
    EXPECT_TRUE(is_utf8(text));
    for (const char c : text) EXPECT_FALSE(static_cast<unsigned char>(c) < 0x20 || c == 0x7f);
  }
}

TEST(Time, OnlyTheOneForm) {
  EXPECT_EQ(parse_time("1970-01-01T00:00:00Z"), UtcTime{0});
  EXPECT_EQ(parse_time("2000-03-01T00:00:00Z"), UtcTime{951868800});  // `date -ud 2000-03-01 +%s`
  EXPECT_EQ(parse_time("2024-02-29T23:59:59Z"), UtcTime{1709251199});
  for (const char* bad :
       {"2023-02-29T00:00:00Z", "2024-13-01T00:00:00Z", "2024-01-01T24:00:00Z", "2024-01-01T00:00:60Z",
        "2024-01-01 00:00:00Z", "2024-01-01T00:00:00", "2024-01-01T00:00:00z", "1969-12-31T23:59:59Z"}) {
    EXPECT_EQ(parse_time(bad), std::nullopt) << bad;
  }
  Random random;
  for (int round = 0; round < 1000; ++round) {
    const UtcTime time{static_cast<std::int64_t>(random.between(0, 253402300799))};
    EXPECT_EQ(parse_time(time_text(time)), time);
  }
}

}  // namespace
}  // namespace calseal
