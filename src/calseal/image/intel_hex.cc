// Intel, "Hexadecimal Object File Format Specification", revision A (1988).
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/image/form.h"
#include "calseal/image/record_text.h"

namespace calseal {
namespace {

using record_text::error_at;
using record_text::Line;
using record_text::Record;

enum Type : std::uint8_t {
  kData = 0,
  kEnd = 1,
  kExtendedSegment = 2,
  kStartSegment = 3,
  kExtendedLinear = 4,
  kStartLinear = 5,
};
constexpr std::size_t kDataLengths[] = {0, 0, 2, 4, 2, 4};  // exact, for all types but kData
constexpr std::uint64_t kOffsets = 0x10000;                 // what a load offset reaches
constexpr std::size_t kHead = 4;                            // count, load offset, type
constexpr std::size_t kBytesARecord = 32;

class Reader {
 public:
  // True for the end record.
  Result<bool> read(const Line& line) {
    CALSEAL_ASSIGN(const Record record, record_text::decode_intel_hex(line));
    const std::uint8_t type = record.bytes[3];
    if (type > kStartLinear) {
      return fail(error_at(line.number, Reason::kRecordType, "type " + hex_number(type, 2),
                           "type 0x00 to 0x05", "Export the file again as plain Intel HEX."));
    }
    if (type == kData) {
      CALSEAL_CHECK(add_data(line, record));
      return false;
    }
    CALSEAL_CHECK(check_fields(line, record, type));
    if (type == kExtendedSegment || type == kExtendedLinear) CALSEAL_CHECK(set_base(line, record, type));
    return type == kEnd;
  }

  std::vector<RecordPlace> take_records() { return std::move(records_); }

 private:
  Status check_fields(const Line& line, const Record& record, std::uint8_t type) const {
    const std::string name = "type " + hex_number(type, 2);
    const std::size_t length = record.bytes[0];
    if (length != kDataLengths[type]) {
      return fail(error_at(line.number, Reason::kRecordMalformed,
                           std::to_string(length) + " data bytes in " + name,
                           std::to_string(kDataLengths[type]), "Export the file again as plain Intel HEX."));
    }
    // Some writers put a start address into the end record's load offset.
    if (type != kEnd && record.number(1, 2) != 0) {
      return fail(error_at(line.number, Reason::kRecordMalformed,
                           "load offset " + hex_number(record.number(1, 2), 4) + " in " + name, "0x0000",
                           "Export the file again as plain Intel HEX."));
    }
    return {};
  }

  Status set_base(const Line& line, const Record& record, std::uint8_t type) {
    if (base_ != 0 && type != base_type_) {
      return fail(error_at(line.number, Reason::kRecordType,
                           "type " + hex_number(type, 2) + " while type " + hex_number(base_type_, 2) +
                               " has set the base " + address_text(base_),
                           "one kind of extended address, or the base set back to 0 first",
                           "Export the file again with extended linear addresses only."));
    }
    base_type_ = type;
    base_ = record.number(kHead, 2) * (type == kExtendedSegment ? 16U : static_cast<std::uint32_t>(kOffsets));
    return {};
  }

  Status add_data(const Line& line, const Record& record) {
    const std::uint16_t count = record.bytes[0];
    const std::uint32_t offset = record.number(1, 2);
    if (offset + count > kOffsets) {
      return fail(error_at(line.number, Reason::kRecordAddress,
                           std::to_string(count) + " bytes at load offset " + hex_number(offset, 4),
                           "no byte past load offset 0xffff",
                           "Export the file again with records that end where 64 KiB end."));
    }
    if (count == 0) return {};
    RecordPlace place;
    place.address = base_ + offset;
    place.data_at = static_cast<std::uint32_t>(line.begin + 1 + 2 * kHead);
    place.checksum_at = place.data_at + 2U * count;
    place.count = count;
    records_.push_back(place);
    return {};
  }

  std::uint32_t base_ = 0;
  std::uint8_t base_type_ = kExtendedLinear;
  std::vector<RecordPlace> records_;
};

void append_record(std::string& text, Type type, std::uint32_t offset, ByteView data) {
  unsigned sum = static_cast<unsigned>(data.size()) + (offset >> 8) + (offset & 0xffU) + type;
  text.push_back(':');
  record_text::append_hex(text, data.size(), 2);
  record_text::append_hex(text, offset, 4);
  record_text::append_hex(text, type, 2);
  for (const std::uint8_t byte : data) {
    record_text::append_hex(text, byte, 2);
    sum += byte;
  }
  record_text::append_hex(text, (0U - sum) & 0xffU, 2);
  text.push_back('\n');
}

}  // namespace

Result<FormFile> record_text::parse_intel_hex(Bytes file) {
  Reader reader;
  CALSEAL_ASSIGN(const Ending ending, read_lines(file, [&](const Line& line) { return reader.read(line); }));
  return gather(FormKind::kIntelHex, std::move(file), reader.take_records(), ending);
}

std::string write_intel_hex(const std::vector<Segment>& segments) {
  std::string text;
  std::uint64_t upper = 0;
  for (const Segment& segment : segments) {
    const ByteView bytes(segment.bytes);
    for (std::size_t at = 0; at < bytes.size();) {
      const std::uint64_t address = segment.address + at;
      const auto offset = static_cast<std::uint32_t>(address % kOffsets);
      if (address / kOffsets != upper) {
        upper = address / kOffsets;
        const std::uint8_t value[] = {static_cast<std::uint8_t>(upper >> 8),
                                      static_cast<std::uint8_t>(upper)};
        append_record(text, kExtendedLinear, 0, value);
      }
      const std::size_t count =
          std::min({kBytesARecord, bytes.size() - at, static_cast<std::size_t>(kOffsets - offset)});
      append_record(text, kData, offset, bytes.subspan(at, count));
      at += count;
    }
  }
  append_record(text, kEnd, 0, {});
  return text;
}

}  // namespace calseal
