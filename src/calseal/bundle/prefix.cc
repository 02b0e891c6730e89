#include "calseal/bundle/prefix.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/little_endian.h"
#include "calseal/bundle/manifest.h"

namespace calseal {
namespace {

constexpr std::string_view kLocalMark = "PK\x03\x04";
constexpr std::uint64_t kCrcOffset = 14;
constexpr std::uint64_t kStoredSizeOffset = 18;
static_assert(kBundlePrefix.signature_limit == kSignatureLimit);
static_assert(kPrefixSizeLimit >= kManifestSizeLimit + (kSignatureLimit + 2) * 256);
constexpr std::string_view kCopyAgain = "copy or download the file again";

// Where a reader stands in the file; offsets never pass the end.
class PrefixReader {
 public:
  PrefixReader(ByteView file, const PrefixKind& kind, const std::string& name)
      : file_(file), kind_(kind), name_(name) {}

  Status read_first(SignedPrefix& prefix) {
    // What differs from file to file here is the CRC-32 and the length, twice; all else is fixed.
    const Bytes fixed = local_header({std::string(kind_.first_entry), false, 0, 0, 0});
    for (std::uint64_t i = 0; i < fixed.size(); ++i) {
      if ((i >= kCrcOffset && i < 26) || file_[i] == fixed[i]) continue;
      return fail({kind_.wrong_type, name_, "byte " + std::to_string(i), hex_number(file_[i], 2),
                   hex_number(fixed[i], 2) + ", as every " + std::string(kind_.kind) + " has there",
                   "check that this is the right file"});
    }
    const std::uint64_t size = load_u32(file_, kStoredSizeOffset);
    const std::uint64_t begin = fixed.size();
    if (size == 0 || size > kManifestSizeLimit || size > file_.size() - begin) {
      return damaged(kStoredSizeOffset,
                     "a " + std::string(kind_.first_word) + " of " + grouped(size) + " bytes",
                     "from 1 to " + grouped(std::min(kManifestSizeLimit, file_.size() - begin)) + " bytes");
    }
    prefix.first = file_.subspan(begin, size);
    prefix.end = begin + size;
    return check_header(
        0, {std::string(kind_.first_entry), false, size, size, compute_entry_crc32(prefix.first)});
  }

  // Adds the signature at prefix.end, or says that none stands there.
  Result<bool> read_signature(SignedPrefix& prefix) {
    const ByteView rest = file_.subspan(prefix.end);
    constexpr std::uint64_t kBeginSize = kLocalHeaderSize + kSignatureFolder.size();
    if (rest.size() < kBeginSize || !text_of(rest).starts_with(kLocalMark) ||
        !text_of(rest.subspan(kLocalHeaderSize)).starts_with(kSignatureFolder)) {
      return false;
    }
    if (prefix.signatures.size() == kind_.signature_limit) {
      return damaged(prefix.end, "one more signature", "at most " + std::to_string(kind_.signature_limit));
    }
    const std::uint64_t name_size = signature_entry_name({}).size();
    const std::uint64_t whole = kLocalHeaderSize + name_size + kSignatureSize;
    if (rest.size() < whole) {
      return damaged(file_.size(), "the end of the file",
                     "a signature of " + std::to_string(whole) + " bytes with its header");
    }
    const std::string_view entry_name = text_of(rest.subspan(kLocalHeaderSize, name_size));
    const auto key_id = parse_digest(entry_name.substr(kSignatureFolder.size(), 64));
    if (!key_id || entry_name != signature_entry_name(*key_id)) {
      return damaged(prefix.end + kLocalHeaderSize, "\"" + printable(entry_name, 100) + "\"",
                     "signatures/, 64 lower-case hexadecimal digits, .sig");
    }
    if (!prefix.signatures.empty() && *key_id <= prefix.signatures.back().key_id) {
      return damaged(prefix.end + kLocalHeaderSize, digest_text(*key_id),
                     "a larger key id than that of the signature before");
    }
    const ByteView content = rest.subspan(kLocalHeaderSize + name_size, kSignatureSize);
    CALSEAL_CHECK(check_header(prefix.end, {std::string(entry_name), false, kSignatureSize, kSignatureSize,
                                            compute_entry_crc32(content)}));
    PrefixSignature signature;
    signature.key_id = *key_id;
    std::copy(content.begin(), content.end(), signature.signature.begin());
    prefix.signatures.push_back(signature);
    prefix.end += whole;
    return true;
  }

 private:
  tl::unexpected<Error> damaged(std::uint64_t at, std::string found, std::string expected) const {
    return fail({kind_.damaged, name_, "byte " + std::to_string(at), std::move(found), std::move(expected),
                 std::string(kCopyAgain)});
  }

  // Compares the header at `at`, which lies inside the file, with the one that this entry must have.
  Status check_header(std::uint64_t at, const FramedEntry& entry) const {
    const Bytes expected = local_header(entry);
    for (std::uint64_t i = 0; i < expected.size(); ++i) {
      if (file_[at + i] != expected[i]) {
        return damaged(at + i,
                       hex_number(file_[at + i], 2) + " in the header of " + printable(entry.name, 100),
                       hex_number(expected[i], 2));
      }
    }
    return {};
  }

  ByteView file_;
  const PrefixKind& kind_;
  const std::string& name_;
};

}  // namespace

bool begins_as_bundle(ByteView beginning) {
  const std::string_view text = text_of(beginning);
  return text.starts_with(kLocalMark) && text.size() > kLocalHeaderSize &&
         text.substr(kLocalHeaderSize).starts_with(kManifestName);
}

std::string signature_entry_name(const Sha256& key_id) {
  return std::string(kSignatureFolder) + digest_text(key_id) + ".sig";
}

Result<SignedPrefix> read_signed_prefix(ByteView file, const PrefixKind& kind, const std::string& name) {
  if (file.size() < kBundleSizeLeast || file.size() > kBundleSizeLimit) {
    return fail({kind.wrong_size, name, "", grouped(file.size()) + " bytes",
                 "from " + grouped(kBundleSizeLeast) + " to " + grouped(kBundleSizeLimit) + " bytes",
                 "check that this is the right file, and copy or download it again"});
  }
  PrefixReader reader(file, kind, name);
  SignedPrefix prefix;
  CALSEAL_CHECK(reader.read_first(prefix));
  for (bool more = true; more;) {
    CALSEAL_ASSIGN(more, reader.read_signature(prefix));
  }
  if (prefix.signatures.empty()) {
    const std::string limit = std::to_string(kind.signature_limit);
    return fail({kind.not_signed, name, "byte " + std::to_string(prefix.end),
                 "no signature after the " + std::string(kind.first_word),
                 kind.signature_limit == 1 ? "one signature" : "from 1 to " + limit + " signatures",
                 "ask the sender for the sealed " + std::string(kind.kind)});
  }
  return prefix;
}

Result<BundlePrefix> read_prefix(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(SignedPrefix prefix, read_signed_prefix(file, kBundlePrefix, name));
  return BundlePrefix{prefix.first, std::move(prefix.signatures), prefix.end};
}

}  // namespace calseal
