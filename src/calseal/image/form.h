// How a file holds bytes: raw, Intel HEX or Motorola S-record; told from the content, never from the name.
//
// Intel HEX after Intel, "Hexadecimal Object File Format Specification", revision A (1988). S-record as in
// the public descriptions of Motorola's format (types S0 to S9).
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

enum class FormKind : std::uint8_t { kRaw, kIntelHex, kSRecord };

inline constexpr std::array<std::string_view, 3> kFormNames{"raw", "intel-hex", "s-record"};
inline std::string_view form_name(FormKind kind) { return kFormNames[static_cast<std::size_t>(kind)]; }

struct Segment {
  std::uint64_t address = 0;  // of the first byte; 0 for kRaw
  Bytes bytes;
  friend bool operator==(const Segment&, const Segment&) = default;
};

// A data record of a record file, so that the file can be written back as it came. Kept small: a file has
// millions.
struct RecordPlace {
  std::uint32_t address = 0;      // of its first data byte
  std::uint32_t data_at = 0;      // offset of its first data digit in the text
  std::uint32_t checksum_at = 0;  // offset of its two checksum digits
  std::uint16_t count = 0;        // data bytes, at least 1: records without data are not listed
};

// The longest text of records, in bytes: 256 MiB of data in short records fit.
inline constexpr std::uint64_t kRecordTextLimit = std::uint64_t{1} << 30;

// A file's content with everything needed to write it back byte for byte.
struct FormFile {
  FormKind kind = FormKind::kRaw;
  std::vector<Segment> segments;     // ascending, disjoint, non-adjacent; one for kRaw
  Bytes original;                    // the file as it came
  std::vector<RecordPlace> records;  // in file order; empty for kRaw
};

// Tells by content. Lines end in LF, CR LF or CR; a byte order mark (UTF-8) and blanks (space, tab) around a
// line do not count. A file is Intel HEX or S-record when
//  (a) its first line that is not empty is a whole record of that kind: mark, nothing but hexadecimal digits,
//      the length that its count states, a right checksum; or
//  (b) more than half of its bytes are record text (hexadecimal digits, ':', 'S', CR, LF), and a line begins
//      with a mark (':', or 'S' and a decimal digit); the first line that is a whole record tells the kind,
//      and where there is none, the first line that begins with a mark.
// Everything else is raw. So a record file with a damaged byte anywhere, or with a block of garbage after its
// first record, keeps its kind and is refused by parse_form with the line, never taken for raw; and a raw
// file that happens to begin with ':' or 'S' is raw. Linear in the file's size.
FormKind recognise_form(ByteView file);

// Parses a whole file in the recognised or given form. Linear in the file's size, but for sorting records
// that are not in ascending order; memory is at most about ten times it, and that only for records of one
// byte with holes between them. Record files are read strictly:
//  - Lines end in LF, CR LF or CR, also mixed; the last line end may be missing. Empty lines stand only after
//    the end record. Blanks stand nowhere. Digits (and the mark S) are accepted in either case.
//  - Exactly one end record; nothing but line ends after it.
//  - No byte is given twice, even with the same value.
//  - Intel HEX: types 00 to 05, each with its exact length; load offset 0000 in types 02 to 05. A data record
//    must not cross the end of its 64 KiB: by the standard it would wrap there after a type 02 record and
//    carry on after a type 04 record. Type 02 after type 04, or 04 after 02, only while the base is 0:
//    readers disagree on whether bases add up.
//  - S-record: the type digit is not under the checksum, so S0 stands only in the first line, all data
//    records have one type, and the end record is its partner (S1 and S9, S2 and S8, S3 and S7). S5 and S6
//    hold the number of data records before them. S4 is reserved. The text of S0 is kept and means nothing.
// Each line is checked for mark and digits, length, checksum, type, the type's own length, address and count,
// in this order; the first fault decides, and the error's place is "line N". Then the whole file: overlap,
// end record.
//
// kFileEmpty; kFileTooLarge (kRecordTextLimit); kRecordMalformed, kRecordChecksum, kRecordType,
// kRecordAddress, kRecordCount, kRecordAfterEnd; kRecordOverlap, kRecordEndMissing. Raw files fail only when
// empty.
Result<FormFile> parse_form(Bytes file, const std::string& name);
Result<FormFile> parse_form_as(FormKind kind, Bytes file, const std::string& name);

// The file again, with the bytes at every address taken from `segments` (disjoint; they must cover all
// addresses that the file holds, and may hold more): same records, lengths, order, line ends and letter case;
// only data digits that changed and the checksums of their records differ. Unchanged segments give back the
// original file, byte for byte. A changed digit takes the case of the first letter among its record's digits,
// else among the file's, else upper case. kReadIncomplete when an address of the file is not in `segments`.
Result<Bytes> write_back(const FormFile& file, const std::vector<Segment>& segments);

// New record files: 32 data bytes a record (fewer before the end of a segment or of 64 KiB), upper case, LF.
// Intel HEX with extended linear addresses (type 04); S-record with an empty S0 and the narrowest of S1, S2,
// S3 that reaches the last address; start address 0 or none. `segments` as in FormFile, all addresses below
// 2^32.
std::string write_intel_hex(const std::vector<Segment>& segments);
std::string write_s_record(const std::vector<Segment>& segments);

}  // namespace calseal
