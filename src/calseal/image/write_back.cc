#include <algorithm>
#include <array>
#include <cctype>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/image/form.h"
#include "calseal/image/record_text.h"

namespace calseal {
namespace {

// Finds bytes by address in segments of any order.
class Source {
 public:
  explicit Source(const std::vector<Segment>& segments) {
    for (const Segment& segment : segments) {
      if (!segment.bytes.empty()) by_end_.push_back(&segment);
    }
    std::sort(by_end_.begin(), by_end_.end(),
              [](const Segment* a, const Segment* b) { return end_of(*a) < end_of(*b); });
  }

  // Fills `out` with the bytes from `address` on.
  Status read(std::uint64_t address, std::span<std::uint8_t> out) const {
    while (!out.empty()) {
      const auto it = std::upper_bound(by_end_.begin(), by_end_.end(), address,
                                       [](std::uint64_t at, const Segment* s) { return at < end_of(*s); });
      if (it == by_end_.end() || (*it)->address > address) {
        return fail({Reason::kReadIncomplete, "", address_text(address), "no byte for this address",
                     "a byte for every address that the file holds",
                     "Give an image that covers the whole file, or write it in another form."});
      }
      const ByteView from =
          ByteView((*it)->bytes).subspan(static_cast<std::size_t>(address - (*it)->address));
      const std::size_t count = std::min(from.size(), out.size());
      std::copy_n(from.begin(), count, out.begin());
      out = out.subspan(count);
      address += count;
    }
    return {};
  }

 private:
  static std::uint64_t end_of(const Segment& segment) { return segment.address + segment.bytes.size(); }

  std::vector<const Segment*> by_end_;
};

// Case of the first letter among `digits`.
std::optional<bool> is_lower_case(std::string_view digits) {
  const std::size_t at = digits.find_first_of("ABCDEFabcdef");
  if (at == std::string_view::npos) return std::nullopt;
  return digits[at] >= 'a';
}

// All digits of a record, from the one behind its mark to its checksum.
std::string_view digits_of(std::string_view text, const RecordPlace& record) {
  std::size_t begin = record.data_at;
  while (begin > 0 && record_text::digit_value(text[begin - 1]) >= 0) --begin;
  return text.substr(begin, record.checksum_at + 2 - begin);
}

// Overwrites two digits, touching only those that change.
void put_byte(Bytes& file, std::size_t at, std::uint8_t value, bool lower_case) {
  const auto put = [&](std::size_t position, unsigned digit) {
    if (record_text::digit_value(static_cast<char>(file[position])) == static_cast<int>(digit)) return;
    const int upper = record_text::upper_digit(digit);
    file[position] = static_cast<std::uint8_t>(lower_case ? std::tolower(upper) : upper);
  };
  put(at, value >> 4);
  put(at + 1, value & 15U);
}

std::uint8_t byte_at(const Bytes& file, std::size_t at) {
  return static_cast<std::uint8_t>(record_text::digit_value(static_cast<char>(file[at])) * 16 +
                                   record_text::digit_value(static_cast<char>(file[at + 1])));
}

}  // namespace

Result<Bytes> write_back(const FormFile& file, const std::vector<Segment>& segments) {
  const Source source(segments);
  Bytes out = file.original;
  if (file.kind == FormKind::kRaw) {
    CALSEAL_CHECK(source.read(0, out));
    return out;
  }

  const std::string_view original = text_of(file.original);
  const bool file_is_lower_case = is_lower_case(original).value_or(false);
  std::array<std::uint8_t, 255> wanted;
  for (const RecordPlace& record : file.records) {
    CALSEAL_CHECK(source.read(record.address, std::span(wanted).first(record.count)));
    const bool lower_case = is_lower_case(digits_of(original, record)).value_or(file_is_lower_case);
    unsigned sum_change = 0;
    for (std::size_t i = 0; i < record.count; ++i) {
      const std::size_t at = record.data_at + 2 * i;
      sum_change += wanted[i] - unsigned{byte_at(out, at)};
      put_byte(out, at, wanted[i], lower_case);
    }
    // In both forms sum and checksum together are constant.
    const auto checksum = static_cast<std::uint8_t>(byte_at(out, record.checksum_at) - sum_change);
    put_byte(out, record.checksum_at, checksum, lower_case);
  }
  return out;
}

}  // namespace calseal
