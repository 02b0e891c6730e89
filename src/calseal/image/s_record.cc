// Motorola's format as in public descriptions of types S0 to S9.
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/image/form.h"
#include "calseal/image/record_text.h"

namespace calseal {
namespace {

using record_text::error_at;
using record_text::Line;
using record_text::Record;

constexpr std::size_t kAddressLengths[] = {2, 2, 3, 4, 0, 2, 3, 4, 3, 2};  // by type; S5 and S6: their number
constexpr std::size_t kBytesARecord = 32;

constexpr bool is_data(unsigned type) { return type >= 1 && type <= 3; }
constexpr bool is_count(unsigned type) { return type == 5 || type == 6; }
constexpr bool is_end(unsigned type) { return type >= 7; }
constexpr unsigned end_type(unsigned data_type) { return 10 - data_type; }

std::string type_name(unsigned type) { return "S" + std::to_string(type); }

class Reader {
 public:
  // True for the end record.
  Result<bool> read(const Line& line) {
    CALSEAL_ASSIGN(const Record record, record_text::decode_s_record(line));
    const auto type = static_cast<unsigned>(record_text::digit_value(line.text[1]));
    CALSEAL_CHECK(check_type(line, type));
    CALSEAL_CHECK(check_length(line, record, type));
    if (is_data(type)) CALSEAL_CHECK(add_data(line, record, type));
    if (is_count(type)) CALSEAL_CHECK(check_count(line, record, type));
    return is_end(type);
  }

  std::vector<RecordPlace> take_records() { return std::move(records_); }

 private:
  Status check_type(const Line& line, unsigned type) {
    const auto refuse = [&](std::string expected) {
      return fail(error_at(line.number, Reason::kRecordType, type_name(type), std::move(expected),
                           "Export the file again with one type of data record and its own end record."));
    };
    if (type == 4) return refuse("no reserved type");
    if (type == 0 && line.number != 1) return refuse("a header in the first line only");
    if (is_data(type)) {
      if (data_type_ != 0 && type != data_type_)
        return refuse(type_name(data_type_) + ", as the data records before");
      data_type_ = type;
    }
    if (is_end(type) && data_type_ != 0 && type != end_type(data_type_)) {
      return refuse(type_name(end_type(data_type_)) + ", which ends a file of " + type_name(data_type_));
    }
    return {};
  }

  static Status check_length(const Line& line, const Record& record, unsigned type) {
    const std::size_t least = kAddressLengths[type] + 1;
    const bool may_be_longer = type == 0 || is_data(type);
    const std::size_t count = record.bytes[0];
    if (count == least || (count > least && may_be_longer)) return {};
    return fail(error_at(line.number, Reason::kRecordMalformed,
                         "a count of " + std::to_string(count) + " in " + type_name(type),
                         (may_be_longer ? "at least " : "") + std::to_string(least),
                         "Export the file again as plain S-records."));
  }

  Status check_count(const Line& line, const Record& record, unsigned type) const {
    const std::uint32_t stated = record.number(1, kAddressLengths[type]);
    if (stated == data_records_) return {};
    return fail(
        error_at(line.number, Reason::kRecordCount,
                 grouped(stated) + " data records stated, " + grouped(data_records_) + " present",
                 "the number of data records before this line",
                 "Records are missing or doubled: export the file again, or read the controller again."));
  }

  Status add_data(const Line& line, const Record& record, unsigned type) {
    ++data_records_;
    const std::size_t width = kAddressLengths[type];
    const std::uint32_t address = record.number(1, width);
    const auto count = static_cast<std::uint16_t>(record.bytes[0] - width - 1);
    const std::uint64_t limit = std::uint64_t{1} << (8 * width);
    if (!make_range(address, count, limit)) {
      return fail(
          error_at(line.number, Reason::kRecordAddress,
                   std::to_string(count) + " bytes at " + address_text(address) + " in " + type_name(type),
                   "no byte past " + address_text(limit - 1),
                   "Export the file again with a type of data record that reaches every address."));
    }
    if (count == 0) return {};
    RecordPlace place;
    place.address = address;
    place.data_at = static_cast<std::uint32_t>(line.begin + 4 + 2 * width);
    place.checksum_at = place.data_at + 2U * count;
    place.count = count;
    records_.push_back(place);
    return {};
  }

  unsigned data_type_ = 0;  // 0: none yet
  std::uint64_t data_records_ = 0;
  std::vector<RecordPlace> records_;
};

void append_record(std::string& text, unsigned type, std::uint64_t address, ByteView data) {
  const std::size_t width = kAddressLengths[type];
  const std::size_t count = width + data.size() + 1;
  auto sum = static_cast<unsigned>(count);
  for (std::size_t i = 0; i < width; ++i) sum += static_cast<unsigned>(address >> (8 * i)) & 0xffU;
  text += type_name(type);
  record_text::append_hex(text, count, 2);
  record_text::append_hex(text, address, static_cast<int>(2 * width));
  for (const std::uint8_t byte : data) {
    record_text::append_hex(text, byte, 2);
    sum += byte;
  }
  record_text::append_hex(text, ~sum & 0xffU, 2);
  text.push_back('\n');
}

}  // namespace

Result<FormFile> record_text::parse_s_record(Bytes file) {
  Reader reader;
  CALSEAL_ASSIGN(const Ending ending, read_lines(file, [&](const Line& line) { return reader.read(line); }));
  return gather(FormKind::kSRecord, std::move(file), reader.take_records(), ending);
}

std::string write_s_record(const std::vector<Segment>& segments) {
  std::uint64_t last = 0;
  for (const Segment& segment : segments) {
    if (!segment.bytes.empty()) last = std::max(last, segment.address + segment.bytes.size() - 1);
  }
  const unsigned type = last < 0x10000 ? 1 : last < 0x1000000 ? 2 : 3;

  std::string text;
  append_record(text, 0, 0, {});
  for (const Segment& segment : segments) {
    const ByteView bytes(segment.bytes);
    for (std::size_t at = 0; at < bytes.size(); at += kBytesARecord) {
      append_record(text, type, segment.address + at,
                    bytes.subspan(at, std::min(kBytesARecord, bytes.size() - at)));
    }
  }
  append_record(text, end_type(type), 0, {});
  return text;
}

}  // namespace calseal
