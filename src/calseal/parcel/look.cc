#include "calseal/parcel/look.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <set>

#include "calseal/image/form.h"

namespace calseal {
namespace {

constexpr std::size_t kBlock = 4096;        // bytes
constexpr std::size_t kLeastMemory = 1024;  // bytes; no memory is smaller, and all are multiples of it
constexpr std::size_t kPartLimit = 64;

struct LookCode {
  std::string_view code;
  std::string_view words;
};
constexpr std::array<LookCode, 7> kCodes{{
    {"blank", "is blank, whole or in large part: the controller may not have been read at all"},
    {"cut-off", "ends where there should be more: the reading may have been interrupted"},
    {"differs", "differs much from the first read of the same memory: read it once more"},
    {"empty", "holds nothing: the file has no bytes"},
    {"repeated", "is the same again and again: the wrong size may have been read"},
    {"same", "is the same file as another read in the parcel: one of the two may be a mix-up"},
    {"size", "has another size than the shop's sheet says"},
}};

bool is_one_value(ByteView bytes) {
  return std::all_of(bytes.begin(), bytes.end(), [&](std::uint8_t byte) { return byte == bytes.front(); });
}

// Of bytes that are there. A last block that is not whole does not count.
bool is_blank(ByteView bytes) {
  if (bytes.size() < kBlock) return is_one_value(bytes);
  const std::size_t blocks = bytes.size() / kBlock;
  std::size_t blank = 0;
  for (std::size_t i = 0; i < blocks; ++i) {
    const ByteView block = bytes.subspan(i * kBlock, kBlock);
    if ((block.front() == 0x00 || block.front() == 0xff) && is_one_value(block)) ++blank;
  }
  return 16 * blank > 15 * blocks;
}

bool is_repeated(ByteView bytes) {
  // Every part of it is blank, and comparing all of them would take long.
  if ((bytes.front() == 0x00 || bytes.front() == 0xff) && is_one_value(bytes)) return false;
  for (std::size_t parts = 2; parts <= kPartLimit; ++parts) {
    if (bytes.size() % parts != 0) continue;
    const std::size_t part = bytes.size() / parts;
    if (part > 0 && std::memcmp(bytes.data(), bytes.data() + part, bytes.size() - part) == 0 &&
        !is_blank(bytes.first(part)))
      return true;
  }
  return false;
}

bool differs_much(ByteView first, ByteView later) {
  if (first.size() != later.size()) return true;
  std::size_t different = 0;
  for (std::size_t i = 0; i < first.size(); ++i) different += first[i] != later[i] ? 1 : 0;
  return 64 * different > first.size();
}

bool is_same_place(const ParcelRead& a, const ParcelRead& b) {
  return a.controller == b.controller && a.memory == b.memory;
}

// All reads at once: some codes are about two of them.
class Look {
 public:
  Look(const std::vector<ParcelRead>& reads, const std::vector<ByteView>& contents, const Sheet* sheet)
      : reads_(reads), contents_(contents), sheet_(sheet) {}

  std::set<std::string_view> at(std::size_t index) const {
    const ByteView content = contents_[index];
    if (content.empty()) return {"empty"};
    std::set<std::string_view> codes;
    const auto add = [&](std::string_view code, bool holds) {
      if (holds) codes.insert(code);
    };
    const bool is_raw = recognise_form(content) == FormKind::kRaw;
    const ParcelRead& read = reads_[index];
    const std::uint64_t size = sheet_ == nullptr ? 0 : sheet_->size_of(read.controller, read.memory);
    add("size", is_raw && size != 0 && content.size() != size);
    add("cut-off", is_raw && size == 0 && content.size() % kLeastMemory != 0);
    add("blank", is_blank(content));
    add("repeated", is_repeated(content));
    add("same", is_same_as_another(index));
    const std::size_t first = first_of(index);
    add("differs", read.series > 1 && first < index && differs_much(contents_[first], content));
    return codes;
  }

 private:
  bool is_same_as_another(std::size_t index) const {
    for (std::size_t i = 0; i < reads_.size(); ++i) {
      if (!is_same_place(reads_[i], reads_[index]) && std::ranges::equal(contents_[i], contents_[index]))
        return true;
    }
    return false;
  }

  // The first read of the same memory; its own index where there is none.
  std::size_t first_of(std::size_t index) const {
    for (std::size_t i = 0; i < index; ++i) {
      if (reads_[i].series == 1 && is_same_place(reads_[i], reads_[index])) return i;
    }
    return index;
  }

  const std::vector<ParcelRead>& reads_;
  const std::vector<ByteView>& contents_;
  const Sheet* sheet_;
};

}  // namespace

std::string_view look_words(std::string_view code) {
  const auto at = std::ranges::find(kCodes, code, &LookCode::code);
  return at == kCodes.end() ? std::string_view() : at->words;
}

std::vector<ParcelFinding> look_at_reads(const std::vector<ParcelRead>& reads,
                                         const std::vector<ByteView>& contents, const Sheet* sheet) {
  const Look look(reads, contents, sheet);
  std::vector<ParcelFinding> findings;
  for (std::size_t i = 0; i < reads.size(); ++i) {
    for (const std::string_view code : look.at(i)) findings.push_back({reads[i].entry, std::string(code)});
  }
  return findings;
}

}  // namespace calseal
